"""A site of 12 connections edited at random: after each edit a model says what the gate must say.

The model knows the site as plain words (which files are there, what was entered into a record and
in which order) and asks the package nothing.
"""

from __future__ import annotations

import json
import random
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

from safeframe import Connection, load, record
from safeframe._cli import main
from safeframe.record import Record

from ..conftest import DEEP

pytestmark = pytest.mark.no_cover

CONNECTIONS, EDITS = 12, 40


def map_text(number: int, *, first: bool, spare: bool, bind: str = "", name: str = "go") -> str:
    """Return one end of a connection of two bits each way; ``spare`` leaves the second one out."""
    end, peer = ("SC1", f"VB{number}") if first else (f"VB{number}", "SC1")
    bound = bind or f"{end}{number}.Go"

    def rows(way: str, name: str, bound: str) -> str:
        entries = [f'{{ at = "0.0", name = "{way}_{name}", bind = "{bound}" }}']
        if spare:
            entries.append('{ at = "0.1", reserved = 7 }')
        else:
            entries.append(f'{{ at = "0.1", name = "{way}_up", bind = "{end}{number}.{way}Up" }}')
            entries.append('{ at = "0.2", reserved = 6 }')
        return ", ".join(entries)

    there, back = rows("there", name, f"{bound}There"), rows("back", "go", f"{bound}Back")
    sends, receives = (there, back) if first else (back, there)
    return (
        'format = "safeframe-map/1"\n'
        f'connection = {{ name = "SC1-VB{number}", profile = "plain", legal_octets = [1], '
        "watchdog_ms = 100, exchange_ms = 10 }\n"
        f'end = {{ name = "{end}", peer = "{peer}" }}\n'
        f"sends = [{sends}]\nreceives = [{receives}]\n"
    )


@dataclass
class Known:
    """What the model knows of one connection."""

    number: int
    steps: dict[str, str]
    read: dict[str, str] = field(default_factory=dict)
    approved: list[str] = field(default_factory=list)
    stale: set[str] = field(default_factory=set)
    missing: set[str] = field(default_factory=set)
    bound: bool = False
    renamed: bool = False
    named: bool = True

    @property
    def ends(self) -> tuple[str, str]:
        return "SC1", f"VB{self.number}"

    @property
    def void(self) -> bool:
        return self.bound or self.renamed

    def expected(self) -> tuple[str, str, str, str, str]:
        """Return the cells that the gate must show."""
        maps_gone = bool(self.missing & {"first", "second"})
        agree = "not judged" if maps_gone else "1 finding" if self.renamed else "yes"
        if not self.named:
            return agree, *["no record"] * 4  # type: ignore[return-value]
        if "record" in self.missing:
            return agree, "not judged", "not judged", "not judged", "unreadable"
        if self.void and not maps_gone:
            return agree, "void", f"void, 0 of {len(self.steps)}", "void", "void"
        differing = [end for end in self.ends if self.read.get(end) == "differs"]
        done = [end for end in self.ends if end in self.read]
        read = "both ends" if len(done) == 2 else f"only {done[0]}" if done else "no"
        if differing:
            read = f"{' and '.join(differing)} differs"
        passed = sum(result == "passed" for result in self.steps.values())
        failed = sum(result == "failed" for result in self.steps.values())
        tested = f"{passed} of {len(self.steps)}" + (f", {failed} failed" if failed else "")
        signed = f"{len(self.approved)} of 2, no key"
        whole = len(done) == 2 and passed == len(self.steps) and len(self.approved) == 2
        valid = "until edited" if whole else "not yet"
        if differing or failed or self.stale:
            valid = "no"
        return agree, read, tested, signed, "not judged" if maps_gone else valid

    def in_order(self) -> bool:
        agree, *_, valid = self.expected()
        return (agree, valid) == ("yes", "until edited")


class History:
    """The site on disk beside the model of it."""

    def __init__(self, folder: Path, seed: int) -> None:
        self.folder, self.random = folder, random.Random(seed)
        self.known = [self._made(number) for number in range(1, CONNECTIONS + 1)]
        self.plant()

    def path(self, number: int, what: str) -> Path:
        return self.folder / f"{number}-{what}{'.json' if what == 'record' else '.toml'}"

    def _made(self, number: int) -> Known:
        states = []
        for spare in (True, False):
            for what in ("first", "second"):
                text = map_text(number, first=what == "first", spare=spare)
                self.path(number, what).write_text(text, encoding="utf-8")
            first, second = (load(self.path(number, what)) for what in ("first", "second"))
            states.append(Connection(first=first, second=second))
        made = record.new(*states, reason="r", asked_by="A. Berg", hazards=("none: a test",))
        record.create(self.path(number, "record"), made)
        return Known(number, dict.fromkeys(made.steps, ""))

    def plant(self) -> None:
        rows = [
            f'  {{ ends = ["{one.number}-first.toml", "{one.number}-second.toml"]'
            + (f', record = "{one.number}-record.json" }},\n' if one.named else " },\n")
            for one in self.known
        ]
        text = f'format = "safeframe-plant/1"\nname = "hall"\nconnections = [\n{"".join(rows)}]\n'
        (self.folder / "plant.toml").write_text(text, encoding="utf-8")

    def edit(self) -> str:
        """Do one thing at random, on the disk and in the model; return what."""
        one = self.random.choice(self.known)
        able: dict[str, Callable[[Known], None]] = {
            "lose": self.lose,
            "bind": self.bind,
            "rename": self.rename,
            "comment": self.comment,
            "unname": self.unname,
        }
        if "record" not in one.missing:
            able |= {"read": self.read, "misread": self.misread, "fail": self.fail}
            able |= {"test": self.test, "complete": self.complete}
        word = self.random.choice(sorted(able))
        able[word](one)
        return f"{word} {one.number}"

    def update(self, one: Known, change: Callable[[Record], Record]) -> None:
        record.update(self.path(one.number, "record"), change)

    def lose(self, one: Known) -> None:
        """Take a file away."""
        what = self.random.choice(["first", "second", "record"])
        self.path(one.number, what).unlink(missing_ok=True)
        one.missing.add(what)

    def bind(self, one: Known) -> None:
        """Bind a signal to another variable at one end: both ends still agree."""
        self.write(one, bound=True, renamed=one.renamed)

    def rename(self, one: Known) -> None:
        """Call a signal by another name at one end only, or by the old one again."""
        self.write(one, bound=one.bound, renamed=not one.renamed)

    def write(self, one: Known, *, bound: bool, renamed: bool) -> None:
        one.bound, one.renamed = bound, renamed
        one.missing.discard("second")
        text = map_text(
            one.number,
            first=False,
            spare=False,
            bind="Other" if bound else "",
            name="gone" if renamed else "go",
        )
        self.path(one.number, "second").write_text(text, encoding="utf-8")

    def comment(self, one: Known) -> None:
        """Say the same in another spelling, and bring the file back."""
        one.missing.discard("first")
        text = "# checked\n\n" + map_text(one.number, first=True, spare=False)
        self.path(one.number, "first").write_text(text, encoding="utf-8")

    def unname(self, one: Known) -> None:
        """Leave the record out of the plant file, or name it again."""
        one.named = not one.named
        self.plant()

    def entered(self, one: Known) -> None:
        """An approval is void after any later entry."""
        one.stale |= set(one.approved)

    def _read(self, one: Known, end: str, checksum: str) -> None:
        self.update(
            one,
            lambda it: record.fill(
                it,
                end,
                who="B",
                when="d",
                serial=f"{end}{one.number}",
                checksum=checksum,
                expected="1",
            ),
        )
        one.read[end] = "matches" if checksum == "1" else "differs"
        self.entered(one)

    def read(self, one: Known) -> None:
        self._read(one, self.random.choice(one.ends), "1")

    def misread(self, one: Known) -> None:
        self._read(one, self.random.choice(one.ends), "2")

    def _test(self, one: Known, step: str, result: str) -> None:
        self.update(one, lambda it: record.done(it, step, who="B", when="d", result=result))
        one.steps[step] = result
        self.entered(one)

    def test(self, one: Known) -> None:
        self._test(one, self.random.choice(sorted(one.steps)), "passed")

    def fail(self, one: Known) -> None:
        self._test(one, self.random.choice(sorted(one.steps)), "failed")

    def complete(self, one: Known) -> None:
        """Withdraw what is stale, then read back, test and approve everything."""
        for who in sorted(one.stale):
            self.withdraw(one, who)
        one.stale.clear()
        if one.approved:
            return
        for end in one.ends:
            self._read(one, end, "1")
        for step in one.steps:
            self._test(one, step, "passed")
        for who in ("C. Dahl", "D. Evans"):
            self.sign(one, who)

    def sign(self, one: Known, who: str) -> None:
        self.update(one, lambda it: record.sign(it, who=who, role="r", when="d"))
        one.approved.append(who)

    def withdraw(self, one: Known, who: str) -> None:
        self.update(one, lambda it: record.withdraw(it, who, who="A", when="d", reason="r"))
        one.approved.remove(who)


@pytest.mark.parametrize("seed", range(9 if DEEP else 1))
def test_after_each_edit_the_gate_says_what_the_model_says(
    seed: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    site = History(tmp_path, seed)
    seen: set[str] = set()
    for number in range(EDITS):
        done = f"edit {number}: {site.edit()}"
        code = main(["verify", "plant.toml", "--format", "json"])
        given: Any = json.loads(capsys.readouterr().out)
        rows = given["connections"]
        assert [row["name"] for row in rows] == [
            f"SC1-VB{one.number}" for one in site.known
        ] or any({"first", "second"} <= one.missing for one in site.known)
        by_number = {row["number"]: row for row in rows}
        for one in site.known:
            row = by_number[one.number]
            shown = tuple(
                row[key]["text"] for key in ("agree", "read_back", "tested", "signed", "valid")
            )
            assert shown == one.expected(), (done, one)
            assert row["in_order"] == one.in_order(), (done, one)
            assert bool(row["points"] or row["findings"]) == (not one.in_order()), (done, one)
            seen.add(shown[4])
        assert code == (0 if all(one.in_order() for one in site.known) else 1), done
    assert {"not yet", "void", "until edited", "no"} <= seen
