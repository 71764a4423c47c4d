"""Relations in map files: read, written, refused, compared."""

from __future__ import annotations

import dataclasses

import pytest

from safeframe._diff import compare_versions
from safeframe._errors import InputError, UsageError
from safeframe._mapfile import dumps, loads
from safeframe._model import Relation

HEAD = """\
format = "safeframe-map/1"
connection = { name = "SC1-LX", profile = "plain" }
end = { name = "SC1", peer = "LX" }
"""
TORQUE = (("permit_torque", (1,)),)
BRAKE = (("brake1_release", (1,)),)
ONE = Relation(name="torque first", when=BRAKE, requires=TORQUE, reason="the load would drop")


def read(row: str) -> tuple[Relation, ...]:
    return loads(f"{HEAD}relations = [\n  {row},\n]\n", path="sc1.toml").relations


@pytest.mark.parametrize(
    ("row", "relation"),
    [
        (
            '{ name = "torque first", when = { brake1_release = 1 }, '
            'requires = { permit_torque = 1 }, reason = "the load would drop" }',
            ONE,
        ),
        (
            '{ name = "a", when = { up = 1, level = [3, 2, 3] }, excludes = { down = 1 }, '
            'reason = "r" }',
            Relation(
                name="a",
                when=(("level", (2, 3)), ("up", (1,))),
                excludes=(("down", (1,)),),
                reason="r",
            ),
        ),
        (
            '{ name = "a", when = { torque = 0 }, follows = { receives.applied = 1, '
            '"sends.release" = 0 }, after_ms = 150, within_ms = 400, reason = "r" }',
            Relation(
                name="a",
                when=(("torque", (0,)),),
                follows=(("receives.applied", (1,)), ("sends.release", (0,))),
                after_ms=150,
                within_ms=400,
                reason="r",
            ),
        ),
    ],
)
def test_a_row_is_read(row: str, relation: Relation) -> None:
    (found,) = read(row)
    assert found == relation
    assert (found.where.line, found.where.key) == (5, "relations[0]")


def test_the_three_kinds_as_text() -> None:
    assert str(ONE) == "brake1_release = 1 requires permit_torque = 1"
    level = dataclasses.replace(ONE, requires=(), excludes=(("level", (2, 3)), ("up", (1,))))
    assert str(level) == "brake1_release = 1 excludes level = 2 or 3 and up = 1"
    later = dataclasses.replace(ONE, requires=(), follows=TORQUE, after_ms=20, within_ms=50)
    assert str(later) == "brake1_release = 1 follows permit_torque = 1 after 20 ms within 50 ms"
    assert (ONE.kind, level.kind, later.kind) == ("requires", "excludes", "follows")
    assert ONE.then == later.then == TORQUE


WRONG = {
    "1": ": an entry of relations must be a table, not 1",
    '{ name = "a", when = { x = 1 }, reason = "r" }': ": a relation must state when and one of "
    "requires, excludes, follows, not none",
    '{ name = "a", when = { x = 1 }, requires = { y = 1 }, follows = { z = 1 }, reason = "r" }': ""
    ": a relation must state when and one of requires, excludes, follows, not requires and follows",
    '{ name = "a", requires = { y = 1 }, reason = "r" }': ".when: when must be stated",
    '{ name = "a", when = { x = 1 }, requires = { y = 1 } }': ".reason: reason must be stated",
    '{ name = "a", when = { x = 1 }, requires = { y = 1 }, after_ms = 5, reason = "r" }': ""
    ": after_ms and within_ms must stand with follows, not requires",
    '{ name = "a", when = { x = 1 }, follows = { y = 1 }, after_ms = 5, within_ms = 4, '
    'reason = "r" }': ": within_ms must be at least 5, not 4",
    '{ name = "a", when = {}, requires = { y = 1 }, reason = "r" }': ".when: when must be a table "
    "such as { permit_torque = 1 }, not a table",
    '{ name = "a", when = { x = true }, requires = { y = 1 }, reason = "r" }': ".when: when must "
    "be a table whose values are integers or arrays of them, not true",
    '{ name = "a", when = { x = [] }, requires = { y = 1 }, reason = "r" }': ".when: when must "
    "be a table whose values are integers or arrays of them, not an array",
    '{ name = "a", when = { "" = 1 }, requires = { y = 1 }, reason = "r" }': ".when: when must "
    "be a table whose keys are names of signals, not ''",
    '{ name = "a", when = { sends.x = 1, "sends.x" = 0 }, requires = { y = 1 }, reason = "r" }': ""
    ".when: when must be a table that states each signal once, not 'sends.x'",
    '{ name = "a", when = { x = 1 }, demands = { y = 1 }, reason = "r" }': ".demands: a key must "
    "be one that a relation knows, not 'demands' (known are name, when, requires, excludes, "
    "follows, after_ms, within_ms, reason)",
}


@pytest.mark.parametrize(("row", "problem"), WRONG.items(), ids=range(len(WRONG)))
def test_a_wrong_row_is_refused(row: str, problem: str) -> None:
    with pytest.raises(InputError) as caught:
        read(row)
    assert f"sc1.toml:5: relations[0]{problem}" in map(str, caught.value.problems)


def test_a_name_stands_once() -> None:
    row = '{ name = "a", when = { x = 1 }, requires = { y = 1 }, reason = "r" }'
    with pytest.raises(InputError) as caught:
        read(f"{row},\n  {row}")
    assert str(caught.value) == (
        "sc1.toml:6: relations[1].name: name must stand once among the relations, not 'a' again"
    )


def test_relations_must_be_an_array() -> None:
    with pytest.raises(InputError, match="relations must be an array of tables, not 1"):
        loads(f"{HEAD}relations = 1\n")


def test_a_relation_without_when_means_nothing() -> None:
    with pytest.raises(UsageError, match="not requires without when"):
        Relation(name="a", when=(), requires=TORQUE, reason="r")


CSV_HEAD = """\
direction,at,name,value,note,when,requires,follows,after_ms
format,,,safeframe-map/1,,,,,
connection,,name,SC1-LX,,,,,
connection,,profile,plain,,,,,
end,,name,SC1,,,,,
end,,peer,LX,,,,,
"""


def test_a_relation_in_csv() -> None:
    text = CSV_HEAD + "relation,,a,,r,level=0 2;a\\;b=1,x=1,,\n"
    (found,) = loads(text, format="csv").relations
    assert str(found) == "a;b = 1 and level = 0 or 2 requires x = 1"
    assert "level=0 2" in dumps(loads(text, format="csv"), format="csv")


CSV_WRONG = {
    "relation,,a,,r,level,x=1,,": "lx.csv:7: conditions must be written as lamp=1;level=0 2, "
    "not 'level'",
    "relation,,a,,r,level= ,x=1,,": "lx.csv:7: conditions must be written as lamp=1;level=0 2, "
    "not 'level= '",
    "relation,,a,,r,x=1;;y=1,x=1,,": "lx.csv:7: conditions must be written as lamp=1;level=0 2, "
    "not 'x=1;;y=1'",
    "relation,,a,,r,x=1;x=0,x=1,,": "lx.csv:7: conditions must state each signal once, "
    "not 'x' twice",
    "relation,,a,,r,x=one,x=1,,": "lx.csv:7: relations[0].when: when must be a table whose values "
    "are integers or arrays of them, not 'one'",
    "relation,,a,,,x=1,x=1,,": "lx.csv:7: relations[0].reason: reason must be stated",
    "relation,,a,,r,x=1,,y=1,soon": "lx.csv:7: relations[0].after_ms: after_ms must be an integer, "
    "not 'soon'",
}


@pytest.mark.parametrize(("row", "problem"), CSV_WRONG.items(), ids=range(len(CSV_WRONG)))
def test_a_wrong_row_of_csv_is_refused(row: str, problem: str) -> None:
    with pytest.raises(InputError) as caught:
        loads(f"{CSV_HEAD}{row}\n", path="lx.csv", format="csv")
    assert [str(found) for found in caught.value.problems] == [problem]


def test_a_changed_relation_is_told() -> None:
    base = loads(HEAD)
    old = dataclasses.replace(
        base,
        relations=(
            ONE,
            dataclasses.replace(ONE, name="gone"),
            dataclasses.replace(ONE, name="reasoned"),
            dataclasses.replace(ONE, name="kept"),
        ),
    )
    new = dataclasses.replace(
        base,
        relations=(
            dataclasses.replace(ONE, requires=(("permit_torque", (0,)),)),
            dataclasses.replace(ONE, name="reasoned", reason="it would fall"),
            dataclasses.replace(ONE, name="kept"),
            dataclasses.replace(ONE, name="new"),
        ),
    )
    text = "brake1_release = 1 requires permit_torque = 1"
    assert [
        (change.level, change.subject, change.field, change.before, change.after)
        for change in compare_versions(old, new)
    ] == [
        ("text", "gone", "", text, "not stated"),
        ("text", "new", "", "not stated", text),
        ("text", "reasoned", "reason", "the load would drop", "it would fall"),
        ("text", "torque first", "", text, "brake1_release = 1 requires permit_torque = 0"),
    ]
