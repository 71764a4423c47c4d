"""One fault in a copy of the tree: which tests reach its line, and whether one of them fails."""

from __future__ import annotations

import contextlib
import os
import resource
import signal
import sys
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import NamedTuple

import pytest

from tests.mutation.faults import Fault

__all__ = ["Reached", "survives"]

_CHUNKS = (12, 80, 400, 1 << 30)
"""Tests that run together: those that reach least first, since most faults fall to one of them."""
_MOST_OCTETS = 4 << 30
_FEW, _MORE = 4, 400
"""Where fewer tests reach a line, so many of its module are run as well."""


class Reached(NamedTuple):
    """Which tests reach which lines of each file, and how many lines each reaches at all."""

    lines: dict[str, dict[int, list[str]]]
    weight: Counter[str]

    @classmethod
    def load(cls, path: str, root: Path, core: Sequence[str]) -> Reached:
        """Read the data of a coverage run with a context for each test."""
        from coverage import CoverageData

        data = CoverageData(path)
        data.read()
        lines: dict[str, dict[int, list[str]]] = {}
        weight: Counter[str] = Counter()
        for file in data.measured_files():
            name = f"safeframe/{file.rpartition('/safeframe/')[2]}"
            found = data.contexts_by_lineno(file)
            named = {
                line: sorted({one.partition("|")[0] for one in contexts if one})
                for line, contexts in found.items()
            }
            for tests in named.values():
                weight.update(tests)
            if name in core:
                lines[name] = named
        assert lines, f"no data about {root}"
        return cls(lines, weight)

    def of(self, path: str, fault: Fault) -> list[str]:
        """Return the tests that reach the line a fault begins at, those that reach least first.

        Where nothing is noted of that line, the one before it that was noted stands for it.

        What runs once, when a module is imported or a value is kept, is noted for the test that
        came first, and may matter to every test of the module: some of these follow.
        """
        lines = self.lines.get(path, {})
        # A line of a table that holds constants only is never run by itself.
        line = max((at for at in lines if at <= fault.line), default=0)
        found = sorted(lines.get(line, []), key=lambda test: (self.weight[test], test))
        if line and len(found) < _FEW:
            others = {test for tests in lines.values() for test in tests} - {*found}
            found += sorted(others, key=lambda test: (self.weight[test], test))[:_MORE]
        return found


class _Only:
    """A plugin that keeps the tests named, in the order given."""

    def __init__(self, names: Sequence[str]) -> None:
        self._place = {name: number for number, name in enumerate(names)}

    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        items[:] = sorted(
            (one for one in items if one.nodeid in self._place),
            key=lambda one: self._place[one.nodeid],
        )


def survives(copy: Path, path: str, fault: Fault, tests: Sequence[str], seconds: float) -> str:
    """Put a fault into a copy of the tree; return how its tests end.

    ``killed``, ``late`` (one of them never ended), ``survived``, or ``unfinished`` when the time
    was over before all of them had run.
    """
    deadline = time.monotonic() + seconds
    with _put_into(copy / path, fault):
        done = 0
        for size in _CHUNKS:
            chunk = tests[done : done + size]
            done += size
            if not chunk:
                return "survived"
            word = _run(copy, chunk, deadline)
            if word != "survived":
                return word if word == "killed" or done <= _CHUNKS[0] else "unfinished"
    return "survived"


@contextlib.contextmanager
def _put_into(file: Path, fault: Fault) -> Iterator[None]:
    before, octets = file.stat(), file.read_bytes()
    file.write_bytes(fault.put_into(octets))
    try:
        yield
    finally:
        file.write_bytes(octets)
        # What is compiled stays valid.
        os.utime(file, ns=(before.st_atime_ns, before.st_mtime_ns))


def _run(copy: Path, tests: Sequence[str], deadline: float) -> str:
    """Run tests in a process of its own that is ended when the time is over."""
    process = os.fork()
    if not process:
        _child(copy, tests)
    while time.monotonic() < deadline:
        found, status = os.waitpid(process, os.WNOHANG)
        if found:
            return "killed" if status else "survived"
        time.sleep(0.02)
    with contextlib.suppress(ProcessLookupError):
        os.killpg(process, signal.SIGKILL)
    os.waitpid(process, 0)
    return "late"


def _child(copy: Path, tests: Sequence[str]) -> None:
    code = 3
    try:
        os.setpgid(0, 0)
        resource.setrlimit(resource.RLIMIT_AS, (_MOST_OCTETS, _MOST_OCTETS))
        nothing = os.open(os.devnull, os.O_RDWR)
        for descriptor in range(3):
            os.dup2(nothing, descriptor)
        os.chdir(copy)
        for name in [one for one in sys.modules if one.split(".")[0] in ("tests", "safeframe")]:
            del sys.modules[name]
        sys.path[0] = str(copy)
        os.environ["PYTHONPATH"] = str(copy)
        os.environ["PYTHONDONTWRITEBYTECODE"] = "1"
        # Options for the run around this one, such as coverage, would end it before its tests.
        os.environ.pop("PYTEST_ADDOPTS", None)
        sys.dont_write_bytecode = True
        files = sorted({test.partition("::")[0] for test in tests})
        files = [file for file in files if Path(file).exists()]
        given = [
            "-x",
            "-q",
            "--assert=plain",
            "-p",
            "no:cacheprovider",
            "-p",
            "no:xdist",
            "-p",
            "no:cov",
        ]
        # Tests that were noted under an older name are none any more, and notice nothing.
        code = int(pytest.main([*given, *files], plugins=[_Only(tests)])) if files else 0
        code = 0 if code == pytest.ExitCode.NO_TESTS_COLLECTED else code
    finally:
        os._exit(code)
