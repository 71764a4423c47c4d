"""A short piece of every fuzz run, the same inputs each time."""

from __future__ import annotations

import pytest

from safeframe._errors import UsageError
from tests.fuzz.loop import BrokenError, run
from tests.fuzz.readers import READERS


@pytest.mark.parametrize("name", READERS)
def test_spoilt_input_is_read_or_refused(name: str) -> None:
    reader = READERS[name]
    seeds = reader.seeds()
    for octets in seeds:
        reader.read(octets)
    found = run(reader.read, seeds, 64)
    assert found.runs == 64
    assert found.lines > found.first_lines > 0


def test_the_loop_notices_what_no_reader_may_do() -> None:
    def read(octets: bytes) -> object:
        if b"\xff" in octets:
            raise KeyError("ff")
        raise UsageError("an input must be good")

    with pytest.raises(BrokenError, match=r"KeyError: 'ff' by the input [0-9a-f]*ff"):
        run(read, [b"seed"], 1000)
    assert run(read, [b"seed"], 5).refused == 5


def test_the_loop_notices_a_reader_that_prints() -> None:
    with pytest.raises(BrokenError, match=r"'0\\n' was printed by the input"):
        run(lambda _: print(0), [b"seed"], 1)


def test_the_loop_ends_what_takes_too_long(monkeypatch: pytest.MonkeyPatch) -> None:
    def read(_: bytes) -> object:
        while True:
            pass

    monkeypatch.setattr("tests.fuzz.loop.SECONDS", 0.01)
    with pytest.raises(BrokenError, match=r"TimeoutError: more than 0\.01 s"):
        run(read, [b"seed"], 1)
