"""``safeframe selftest``: say whether this installation computes what was published."""

from __future__ import annotations

import argparse
import platform
import sys
from collections.abc import Iterator
from importlib import metadata

from .. import __version__, checks, crc, demo, mapfile
from ..model import Connection

__all__ = ["configure", "run"]

_EPILOG = """\
example:
  safeframe selftest

exit codes: 0 everything passed, 1 something failed
"""

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
    for state, site in (("before", demo.before()), ("after", demo.after())):
        report = checks.check(_connection(site))
        yield f"the demo pair {state} the change agrees", not report.findings
    for variant in demo.variants():
        pairs = [_connection(variant.site), _connection(variant.site, "sc1-lx2", "lx2-sc1")]
        found = sorted({finding.rule for finding in checks.check_all(pairs).findings})
        yield f"{variant.name}: found by {', '.join(variant.expect)}", found == [*variant.expect]


def _connection(site: dict[str, str], *names: str) -> Connection:
    first, second = (
        mapfile.loads(site[f"{name}.toml"], path=f"{name}.toml")
        for name in names or ("sc1-lx", "lx-sc1")
    )
    return Connection(first=first, second=second)
