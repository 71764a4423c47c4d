"""What comparisons look like: pinned texts, JSON and its schema."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import jsonschema
import pytest

import safeframe
from safeframe._bits import Place
from safeframe._diff import (
    VERDICTS,
    ChangeClass,
    classify,
    classify_changes,
    compare_edits,
    compare_ends,
    compare_versions,
    mixed_versions,
)
from safeframe._errors import InputError, Problem
from safeframe._findings import Finding, Report
from safeframe._model import Allowance, Connection, Map
from safeframe._report import changes, changesjson, text
from safeframe._report.document import CAUTION, Document, StyledText
from safeframe._report.text import PLAIN, Look
from tests.unit.diff_maps import (
    ONE_BRAKE,
    TERMS,
    TWO_BRAKES,
    end_of,
    gap,
    map_of,
    pair_of,
    sig,
    with_entry,
)

SCHEMA = json.loads(
    (Path(safeframe.__file__).parent / "schemas" / "diff.schema.json").read_text("utf-8")
)
LONGER = map_of(*TWO_BRAKES.entries, sig("pump", "2.0", 9))


SHOWN_CAUTION = "\n".join(text.wrap(CAUTION))


def told_of(*given: Any, **more: Any) -> str:
    return text.render(changes.changes(*given, **more))


def versions(before: Map, after: Map) -> str:
    return told_of("SC1", compare_versions(end_of(before), end_of(after)))


def between(sent: Map, received: Map) -> str:
    return told_of("SC1 and LX", compare_ends(pair_of(sent, received)))


def report_of(*severities: str) -> Report:
    return Report(
        findings=tuple(
            Finding(rule=f"a-{severity}", severity=severity, message="m", remedy="r", spots=())
            for severity in severities
        )
    )


def four(before: Connection, after: Connection, look: Look = PLAIN, **options: Any) -> str:
    return text.render(four_of(before, after, **options), look)


def four_of(before: Connection, after: Connection, **options: Any) -> Document:
    return changes.edits(
        "SC1-LX",
        compare_edits(before, after),
        classify(before, after),
        mixed_versions(before, after),
        **{"report": Report(), "again": (), **options},
    )


def test_no_difference() -> None:
    assert versions(ONE_BRAKE, ONE_BRAKE) == f"SC1: no difference\n{SHOWN_CAUTION}\n"


def test_one_end_before_and_after() -> None:
    found = compare_versions(end_of(ONE_BRAKE), end_of(TWO_BRAKES))
    shown = told_of("SC1", found, classes=classify_changes([("SC1", found)]))
    assert (
        shown
        == f"""\
wire: brake2  [sends]
    added: 1.2, bool, 1 bit
    takes 1 bit of the gap at 1.2: reserve 6 -> 5 bits
    map:6

Change class: taken from a gap
  taken from a gap  brake2  from the gap at 1.2: reserve 6 -> 5 bits  at SC1

SC1: 1 difference (1 wire)
{SHOWN_CAUTION}
"""
    )


def test_end_against_end() -> None:
    assert (
        between(TWO_BRAKES, with_entry(ONE_BRAKE, 1, safe=1))
        == f"""\
wire: brake2  [SC1 -> LX]
    only SC1 has it: 1.2, bool, 1 bit
    LX has the gap at 1.2 there
    map:6

value: brake1 at 0.1  [SC1 -> LX]
    safe is 0 at SC1, 1 at LX
    map:2

SC1 and LX: 2 differences (1 wire, 1 value)
{SHOWN_CAUTION}
"""
    )


BRAKE2 = TWO_BRAKES.signals[4]
LATER = map_of(
    *ONE_BRAKE.entries[:5], gap("1.2", 1), replace(BRAKE2, at=Place(1, 3)), gap("1.4", 4)
)
HIGH = map_of(*ONE_BRAKE.entries[:4], sig("pump", "1.0"), gap("1.1", 7))


@pytest.mark.parametrize(
    ("before", "after", "told", "told_of_ends"),
    [
        (
            TWO_BRAKES,
            LATER,
            [
                "moved from 1.2 to 1.3",
                "takes 1 bit of the gap at 1.3: reserve 5 -> 4 bits",
                "gives 1 bit back to the gap at 1.2: reserve 0 -> 1 bit",
            ],
            ["at 1.2 in SC1, at 1.3 in LX", "SC1 has the gap at 1.3 there"],
        ),
        (TWO_BRAKES, ONE_BRAKE, ["removed, it was 1.2, bool, 1 bit"], ["only SC1 has it"]),
        (
            ONE_BRAKE,
            with_entry(TWO_BRAKES, 5, safe=1),
            ["added: 1.2, bool, 1 bit, safe 1"],
            ["only LX has it: 1.2, bool, 1 bit, safe 1"],
        ),
        (ONE_BRAKE, TWO_BRAKES, ["added: 1.2"], ["only LX has it: 1.2, bool, 1 bit"]),
        (
            ONE_BRAKE,
            with_entry(ONE_BRAKE, 1, name="pump"),
            ["name: pump at 0.1", "renamed, it was brake1"],
            ["called brake1 at SC1"],
        ),
        (
            ONE_BRAKE,
            HIGH,
            ["takes 1 bit of level at 1.0", "leaves 1 bit at 1.0 to pump"],
            ["SC1 has level there", "LX has pump there"],
        ),
        (
            map_of(sig("a", "0.0")),
            map_of(sig("a", "0.0"), sig("b", "0.6", width=4, type="uint")),
            [
                "it changed from 1 octet to 2 octets",
                "takes 2 bits at 0.6 that were not declared",
                "takes 2 bits at 1.0, beyond the old data",
            ],
            ["SC1 declares nothing at 0.6", "the data of SC1 end before 1.0"],
        ),
        (
            map_of(sig("a", "0.0"), sig("b", "0.6", width=4, type="uint")),
            map_of(sig("a", "0.0")),
            ["leaves 2 bits at 0.6 undeclared", "2 bits at 1.0 are no longer in the data"],
            ["LX declares nothing at 0.6", "the data of LX end before 1.0"],
        ),
        (
            ONE_BRAKE,
            map_of(*ONE_BRAKE.entries[:5]),
            ["it changed from 6 bits reserved to not reserved"],
            ["it is 6 bits reserved at SC1, not reserved at LX"],
        ),
    ],
)
def test_words_of_changes(
    before: Map, after: Map, told: list[str], told_of_ends: list[str]
) -> None:
    for words in told:
        assert words in versions(before, after)
    for words in told_of_ends:
        assert words in between(before, after)


def test_words_outside_the_maps() -> None:
    old = end_of(ONE_BRAKE, allowances=(Allowance(rule="hole", reason="old"),))
    new = end_of(
        ONE_BRAKE,
        parameters=(("seed", 1),),
        connection_table=replace(TERMS, watchdog_ms=50),
        allowances=(Allowance(rule="swap", signal="ack", reason="new"),),
    )
    shown = told_of("SC1", compare_versions(old, new))
    assert "wire: seed  [parameters]\n    parameter changed from not stated to 1\n" in shown
    assert "watchdog_ms changed from 100 ms to 50 ms" in shown
    assert "text: hole  [allow]\n    allowance for the whole map changed from old" in shown
    assert "text: swap  [allow]\n    allowance for ack changed from not stated to new" in shown
    assert "SC1: 4 differences (1 wire, 1 value, 2 text)" in shown


def test_a_file_cannot_reach_the_terminal() -> None:
    evil = with_entry(ONE_BRAKE, 1, name="x\x1b[2J", one_means="\x9b31m", note="\x07")
    before, after = pair_of(ONE_BRAKE, ONE_BRAKE), pair_of(evil, ONE_BRAKE)
    end = end_of(evil, name="\x1bS")
    shown = [
        versions(ONE_BRAKE, evil),
        between(evil, ONE_BRAKE),
        four(before, after, all_rows=True),
        four(before, Connection(first=end, second=before.second), all_rows=True),
        told_of("\x1b", (), classes=ChangeClass(reasons=())),
    ]
    for page in shown:
        assert all(char.isprintable() or char == "\n" for char in page)
    assert "x\\x1b[2J" in shown[0]


FOUR = f"""\
SC1-LX: SC1 and LX were edited identically
  before the edits  the ends agree
  after the edits   the ends agree

Change class: taken from a gap
  taken from a gap  brake2  from the gap at 1.2: reserve 6 -> 5    at SC1 and LX
                            bits

While only SC1 is updated and LX is still old
  SC1 -> LX: 2 octets sent, 2 expected
    place  LX reads  comes from      verdict
    1.2    (brake2)  sent, not read  nobody reads it
           LX has reserve there: "brake 2 released" goes unnoticed
    4 other signals arrive unchanged
  LX -> SC1: 0 octets sent, 0 expected

While only LX is updated and SC1 is still old
  SC1 -> LX: 2 octets sent, 2 expected
    place  LX reads  comes from          verdict
    1.2    brake2    reserved, always 0  constant
           always 0, its safe value: never "brake 2 released"
    4 other signals arrive unchanged
  LX -> SC1: 0 octets sent, 0 expected

Edit of SC1: 1 difference (1 wire)
  wire: brake2  [sends]
      added: 1.2, bool, 1 bit
      takes 1 bit of the gap at 1.2: reserve 6 -> 5 bits
      map:6

Edit of LX: 1 difference (1 wire)
  wire: brake2  [receives]
      added: 1.2, bool, 1 bit
      takes 1 bit of the gap at 1.2: reserve 6 -> 5 bits
      map:6

{SHOWN_CAUTION}
"""


class TestFourFiles:
    """The page of four files leads with the verdict."""

    def test_identical(self) -> None:
        assert four(pair_of(ONE_BRAKE, ONE_BRAKE), pair_of(TWO_BRAKES, TWO_BRAKES)) == FOUR

    def test_different(self) -> None:
        shown = four(pair_of(ONE_BRAKE, ONE_BRAKE), pair_of(TWO_BRAKES, ONE_BRAKE))
        assert shown.startswith("""\
SC1-LX: SC1 and LX were not edited identically, 1 difference
  before the edits  the ends agree
  after the edits   the ends differ in 1 point

Where the edits differ
  wire: brake2  [SC1 -> LX]
      SC1: added brake2 at 1.2  map:6
      LX: did not add brake2  map

""")
        assert "Edit of LX: no difference\n" in shown

    def test_alike_but_the_ends_differ(self) -> None:
        before = pair_of(TWO_BRAKES, ONE_BRAKE)
        after = pair_of(with_entry(TWO_BRAKES, 1, safe=1), with_entry(ONE_BRAKE, 1, safe=1))
        look = Look(color=True)
        shown = four(before, after, look=look)
        title = "SC1-LX: SC1 and LX were edited identically, but the ends differ"
        assert shown.startswith(
            f"{look.paint('error', title)}\n"
            "  before the edits  the ends differ in 1 point\n"
            "  after the edits   the ends differ in 1 point\n\n"
        )
        title = "SC1-LX: nothing changed that both ends share, but the ends differ\n"
        assert four(before, before).startswith(title)

    @pytest.mark.parametrize(
        ("severities", "words"),
        [
            (
                ["warning", "error", "error"],
                "2 errors, 1 warning in the new pair: a-warning, a-error",
            ),
            (["error"], "1 error in the new pair: a-error"),
            (["warning", "note", "warning"], "2 warnings in the new pair: a-warning"),
        ],
    )
    def test_what_a_check_of_the_new_pair_finds(self, severities: list[str], words: str) -> None:
        report = report_of(*severities)
        look = Look(color=True)
        agree = pair_of(TWO_BRAKES, TWO_BRAKES)
        shown = four(agree, agree, report=report, again=["a\x1b.toml", "b.toml"], look=look)
        line = f"check finds {words}; to see them, run"
        assert (
            text.wrap(StyledText(line, report.worst()), look, first="  ")
            == shown.splitlines()[3:-1][
                : shown.splitlines().index("    safeframe check 'a\\x1b.toml' b.toml") - 3
            ]
        )

    def test_a_check_that_finds_notes_at_most_says_nothing(self) -> None:
        agree = pair_of(TWO_BRAKES, TWO_BRAKES)
        assert four(agree, agree, report=report_of("note")) == four(agree, agree)

    def test_nothing_changed(self) -> None:
        agree = pair_of(ONE_BRAKE, ONE_BRAKE)
        shown = four(agree, agree)
        assert shown.startswith("SC1-LX: nothing changed that both ends share\n")
        assert "\nChange class: none, nothing that both ends share changed\n" in shown
        assert shown.count("    4 signals arrive unchanged\n") == 2

    def test_a_single_signal_arrives(self) -> None:
        one = pair_of(map_of(sig("a", "0.0")), map_of(sig("a", "0.0")))
        assert "    1 signal arrives unchanged\n" in four(one, one)

    def test_all_rows(self) -> None:
        agree = pair_of(ONE_BRAKE, ONE_BRAKE)
        shown = four(agree, agree, all_rows=True)
        assert "    1.0    level     level       same\n" in shown
        assert "unchanged" not in shown

    def test_a_frame_of_another_length(self) -> None:
        before = pair_of(TWO_BRAKES, TWO_BRAKES)
        shown = four(before, pair_of(LONGER, LONGER))
        assert (
            "  SC1 -> LX: 3 octets sent, 2 expected: the frame is not accepted, so no\n"
            "  connection\n    every signal of LX falls back to its safe value\n" in shown
        )
        assert "falls back to its safe value 0" in four(
            before, pair_of(LONGER, LONGER), all_rows=True
        )

    def test_terms_that_differ_meanwhile(self) -> None:
        before = pair_of(ONE_BRAKE, ONE_BRAKE)
        connection_table = replace(TERMS, id=0x0108)
        after = Connection(
            first=replace(before.first, connection_table=connection_table),
            second=replace(before.second, connection_table=connection_table),
        )
        assert "old\n  id  0x0108 at SC1, 0x0107 at LX\n" in four(before, after)

    def test_colours(self) -> None:
        shown = four(
            pair_of(ONE_BRAKE, ONE_BRAKE),
            pair_of(TWO_BRAKES, TWO_BRAKES),
            look=Look(color=True),
        )
        assert "\x1b[1;32mSC1-LX: SC1 and LX were edited identically\x1b[0m\n" in shown
        assert "\x1b[1;33m    1.2    (brake2)" in shown

    def test_the_tables_alone(self) -> None:
        before, after = pair_of(ONE_BRAKE, ONE_BRAKE), pair_of(TWO_BRAKES, TWO_BRAKES)
        alone = Document(
            changes.classes(classify(before, after)).title,
            changes.mixes(mixed_versions(before, after)),
            footer=(),
        )
        assert text.render(alone).partition("\n")[2] in FOUR


def test_every_verdict_has_a_colour() -> None:
    assert set(changes._VERDICT_LOOKS) == set(VERDICTS)


def objects(value: Any) -> Iterator[dict[str, Any]]:
    if isinstance(value, dict):
        yield value
        value = list(value.values())
    if isinstance(value, list):
        for item in value:
            yield from objects(item)


class TestJson:
    """Every document obeys the packaged schema and says what the values hold."""

    def check(self, given: str) -> dict[str, Any]:
        assert given.isascii()
        assert given.endswith("}\n")
        document: dict[str, Any] = json.loads(given)
        jsonschema.validate(document, SCHEMA)
        assert document["format"] == changesjson.FORMAT == "safeframe-diff/2"
        assert document["caution"] == CAUTION
        return document

    def test_versions(self) -> None:
        found = compare_versions(end_of(ONE_BRAKE), end_of(TWO_BRAKES))
        document = self.check(
            changesjson.changes(
                "versions", ["SC1"], found, classes=classify_changes([("SC1", found)])
            )
        )
        assert (document["mode"], document["ends"], document["verdict"]) == (
            "versions",
            ["SC1"],
            "different",
        )
        assert document["changes"] == [
            {
                "level": "wire",
                "kind": "added",
                "section": "sends",
                "subject": "brake2",
                "field": "",
                "sides": ["before", "after"],
                "before": {"value": None, "unit": "", "text": ""},
                "after": {
                    "value": {"place": "1.2", "type": "bool", "width_bits": 1, "safe": 0},
                    "unit": "",
                    "text": "1.2, bool, 1 bit",
                },
                "places": [None, "1.2"],
                "where": [None, {"path": "map", "line": 6, "key": ""}],
                "taken": [
                    {
                        "kind": "gap",
                        "place": "1.2",
                        "bits": 1,
                        "name": "",
                        "value": 0,
                        "reserve": [6, 5],
                    }
                ],
                "left": [],
            }
        ]
        assert document["classes"] == {
            "names": ["taken from a gap"],
            "reasons": [
                {
                    "class": "taken from a gap",
                    "subject": "brake2",
                    "why": "from the gap at 1.2: reserve 6 -> 5 bits",
                    "ends": ["SC1"],
                }
            ],
        }

    def test_ends(self) -> None:
        document = self.check(changesjson.changes("ends", ["SC1", "LX"], ()))
        assert (document["verdict"], document["classes"]) == ("same", None)
        assert document["check_after"] is None

    def test_edits(self) -> None:
        before = pair_of(ONE_BRAKE, ONE_BRAKE)
        connection_table = replace(TERMS, id=0x0108)
        after = pair_of(LONGER, TWO_BRAKES)
        after = replace(after, first=replace(after.first, connection_table=connection_table))
        document = self.check(
            changesjson.edits(
                compare_edits(before, after),
                classify(before, after),
                mixed_versions(before, after),
                report_of("note", "error", "warning", "error"),
            )
        )
        assert document["verdict"] == "different"
        assert document["check_after"] == {
            "errors": 2,
            "warnings": 1,
            "rules": ["a-error", "a-warning"],
            "not_judged": [],
        }
        assert [item["message"] for item in document["differences"]] == [
            "SC1 changed connection id from 0x0107 to 0x0108; LX left connection id at 0x0107",
            "SC1 added pump at 2.0; LX did not add pump",
        ]
        assert document["differences"][1]["steps"][0]["where"]["line"] == 9
        assert [item["end"] for item in document["edits"]] == ["SC1", "LX"]
        assert document["disagreed_before"] == []
        assert len(document["disagree_after"]) == 3
        first, second = document["mixes"]
        assert first["disagreeing"] == [{"field": "id", "text": "0x0108 at SC1, 0x0107 at LX"}]
        assert first["tables"][0]["accepted"] is False
        assert second["tables"][0]["rows"][-1] == {
            "place": "1.2",
            "width": 1,
            "signal": "brake2",
            "verdict": "constant",
            "consequence": 'always 0, its safe value: never "brake 2 released"',
            "gets": [
                {
                    "kind": "reserved",
                    "place": "1.2",
                    "width": 1,
                    "name": "",
                    "low": 0,
                    "whole": False,
                    "value": 0,
                    "text": "reserved, always 0",
                }
            ],
        }

    def test_edits_alike_that_leave_ends_that_differ(self) -> None:
        before = pair_of(TWO_BRAKES, ONE_BRAKE)
        after = pair_of(with_entry(TWO_BRAKES, 1, safe=1), with_entry(ONE_BRAKE, 1, safe=1))
        document = self.check(
            changesjson.edits(compare_edits(before, after), classify(before, after), (), Report())
        )
        assert (document["verdict"], document["differences"]) == ("ends differ", [])
        assert len(document["disagree_after"]) == 1
        nothing = {"errors": 0, "warnings": 0, "rules": [], "not_judged": []}
        assert document["check_after"] == nothing

    def test_unreadable_input(self) -> None:
        error = InputError(Problem(path="a.toml", line=3, key="end.name", message="m", remedy="r"))
        document = self.check(changesjson.problems(error))
        assert (document["mode"], document["verdict"]) == ("unreadable", "")
        assert document["problems"] == [
            {"path": "a.toml", "line": 3, "key": "end.name", "message": "m", "remedy": "r"}
        ]

    def test_the_schema_is_a_schema_and_asks_for_every_key(self) -> None:
        jsonschema.Draft202012Validator.check_schema(SCHEMA)
        for schema in objects(SCHEMA):
            if schema.get("type") == "object" and "properties" in schema:
                assert schema["required"] == list(schema["properties"])
