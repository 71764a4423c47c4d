"""Values of options on the command line: what is no such value is refused in words."""

from __future__ import annotations

import argparse
from collections.abc import Iterator

import pytest

from safeframe._cli import COMMANDS, main, parser_of

Typed = tuple[tuple[str, ...], str, str]
"""A command with its subcommands, an option, and the module of what reads its value."""


def typed(words: tuple[str, ...], parser: argparse.ArgumentParser) -> Iterator[Typed]:
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            for name, below in action.choices.items():
                yield from typed((*words, name), below)
        elif action.type is not None:
            yield words, action.option_strings[-1], getattr(action.type, "__module__", "")


TYPED = [row for name in COMMANDS for row in typed((name,), parser_of(name)[0])]


class TestEveryOptionWithATypeOfItsOwn:
    """What is required MUST be said, of the option and in words; no internal name shows."""

    def test_there_are_some(self) -> None:
        assert len(TYPED) > 15
        assert {module for _, _, module in TYPED} == {"safeframe._cli.values"}

    @pytest.mark.parametrize("wrong", ["x", "", "1e", "\x1b[31m", "nan", "9" * 5000])
    @pytest.mark.parametrize(
        ("words", "option"),
        [(words, option) for words, option, _ in TYPED],
        ids=[" ".join((*words, option)) for words, option, _ in TYPED],
    )
    def test_a_wrong_value(
        self, words: tuple[str, ...], option: str, wrong: str, capsys: pytest.CaptureFixture[str]
    ) -> None:
        if (option, wrong[:1]) == ("--limit-s", "9"):
            return  # A long time, but one.
        assert main([*words, f"{option}={wrong}"]) == 2
        first, last = capsys.readouterr().err.splitlines()
        assert first.startswith(f"safeframe: {' '.join(words)}: {option} must be ")
        assert len(first) < 160
        assert first.isprintable()
        assert "invalid" not in first
        shown = repr(wrong if len(wrong) <= 40 else f"{wrong[:37]}...")
        assert first.endswith(f", not {shown}")
        assert last.startswith(f"safeframe: see: safeframe help {words[0]}")

    @pytest.mark.parametrize(
        ("words", "message"),
        [
            (
                "capture --window 5..1",
                "capture: --window must be FROM..TO in seconds with FROM below TO, either of them "
                "may be left out, not '5..1'",
            ),
            (
                "watch --timeout nan",
                "watch: --timeout must be a number of seconds above 0 and below 1e9, not 'nan'",
            ),
            (
                "capture --fail-under 101",
                "capture: --fail-under must be a percentage from 0 to 100 with at most 6 decimals, "
                "not '101'",
            ),
            (
                "watch --udp-port five",
                "watch: --udp-port must be an integer, decimal or such as 0x88a4, not 'five'",
            ),
            ("crc --width 0x10", "crc: --width must be an integer such as 16, not '0x10'"),
            (
                "residual --limit-s -1",
                "residual: --limit-s must be a number of seconds, 0 or more, not '-1'",
            ),
            ("crc --nothing", "crc: unrecognized arguments: --nothing"),
        ],
    )
    def test_what_is_said(
        self, words: str, message: str, capsys: pytest.CaptureFixture[str]
    ) -> None:
        assert main(words.split()) == 2
        assert capsys.readouterr().err.splitlines()[0] == f"safeframe: {message}"

    def test_words_of_the_user_stay_as_they_are(self, capsys: pytest.CaptureFixture[str]) -> None:
        assert main(["selftest", "--x:", "must", "be", "y"]) == 2
        told = capsys.readouterr().err.splitlines()[0]
        assert told == "safeframe: selftest: unrecognized arguments: --x: must be y"

    def test_work_may_take_for_ever(self, capsys: pytest.CaptureFixture[str]) -> None:
        words = ["residual", "--poly", "0x1d", "--width", "8", "--data-bits", "8", "--no-cache"]
        assert main([*words, "--limit-s", "inf"]) == 0
        assert capsys.readouterr().err == ""
