"""``safeframe selftest``: say whether this installation computes what was published."""

from __future__ import annotations

import argparse
import platform
import sys
from collections.abc import Iterator
from importlib import metadata
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Any

from .. import (
    __version__,
    crc,
    frame,
)
from .. import (
    _checks as checks,
)
from .. import (
    _demo as demo,
)
from .. import (
    _mapfile as mapfile,
)
from .. import (
    cases as cases,
)
from .._errors import FrameError
from .._model import Connection
from ..cases import Case, CaseFile
from ..protocols import room

_EPILOG = """\
example:
  safeframe selftest

exit codes: 0 everything passed, 1 something failed
"""

# The first is where a wheel puts the published vectors, the second where a checkout has them.
_VECTORS: tuple[Traversable, ...] = (
    files("safeframe") / "vectors",
    Path(__file__).parents[2] / "vectors" / "published",
)
_LIBRARIES = ("bitstring", "construct", "crcmod", "numpy")


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments: none."""
    parser.epilog = _EPILOG


def run(_args: argparse.Namespace) -> int:
    """Print what is in use and one line per test; return 1 when one fails."""
    sys.stdout.write(
        f"safeframe {__version__}, Python {platform.python_version()}\n"
        f"libraries: {', '.join(map(_version, _LIBRARIES))}\n"
        f"CRC engine: {crc.engine()}\n"
    )
    failed = 0
    for title, passed in _tests():
        failed += not passed
        sys.stdout.write(f"{'PASS' if passed else 'FAIL'}  {title}\n")
    sys.stdout.write(f"{failed} failed\n" if failed else "all passed\n")
    return int(failed > 0)


def _version(library: str) -> str:
    try:
        return f"{library} {metadata.version(library)}"
    except metadata.PackageNotFoundError:
        return f"{library} not installed"


def _tests() -> Iterator[tuple[str, bool]]:
    wrong = [
        name
        for name, algorithm in crc.CATALOGUE.items()
        if crc.compute(algorithm, b"123456789") != algorithm.check
    ]
    count = len(crc.CATALOGUE)
    yield f"{count} CRC check values{': ' if wrong else ''}{', '.join(wrong)}", not wrong
    yield from _vectors()
    for state, site in (("before", demo.before()), ("after", demo.after())):
        report = checks.check(_connection(site))
        yield f"the demo pair {state} the change agrees", not report.findings
    for variant in demo.variants():
        pairs = [_connection(variant.site), _connection(variant.site, "sc1-lx2", "lx2-sc1")]
        found = sorted({finding.rule for finding in checks.check_all(pairs).findings})
        yield f"{variant.name}: found by {', '.join(variant.expect)}", found == [*variant.expect]


def _vectors() -> Iterator[tuple[str, bool]]:
    """Recompute every published vector, file by file."""
    folder = next((folder for folder in _VECTORS if folder.is_dir()), None)
    if folder is None:
        yield "published vectors: not installed", False
        return
    paths = [path for path in folder.iterdir() if path.name.endswith(".json")]
    for path in sorted(paths, key=lambda path: path.name):
        file = cases.loads(path.read_text(encoding="utf-8"), path=path.name)
        wrong = [case.id for case in file.cases if not _holds(file, case)]
        title = f"{file.profile}: {file.title}, {len(file.cases)} published"
        yield f"{title}{': wrong ' if wrong else ''}{', '.join(wrong)}", not wrong


def _holds(file: CaseFile, case: Case) -> bool:
    """Return whether we compute what was published."""
    given: dict[str, Any] = dict(case.inputs)
    if case.subject == "frame":
        given.pop("sender", None)
        try:
            frame.verify(file.profile, case.octets, **frame.from_text(file.profile, given))
        except FrameError:
            return case.verdict == "reject"
        return case.verdict == "accept"
    recompute = room(file.profile).recomputed.get(case.subject)
    if recompute is not None:
        found = recompute(case.octets, given)
    else:
        algorithm = crc.CATALOGUE[given.pop("algorithm")]
        found = crc.compute(algorithm, case.octets, **given)
    return case.result == (found,)


def _connection(site: dict[str, str], *names: str) -> Connection:
    first, second = (
        mapfile.loads(site[f"{name}.toml"], path=f"{name}.toml")
        for name in names or ("sc1-lx", "lx-sc1")
    )
    return Connection(first=first, second=second)
