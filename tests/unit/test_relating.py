"""Findings about relations, beyond the examples of their rules."""

from __future__ import annotations

import dataclasses

import pytest

from safeframe import _checks as checks
from safeframe._bits import Place
from safeframe._diff import compare_ends
from safeframe._findings import Finding
from safeframe._mapfile import dumps, loads
from safeframe._model import Connection, End, Map, Signal
from safeframe.relations import _states as states
from tests.rules.examples import examples

FILES = examples()["relations-differ"].good


def findings(sc1: list[str], lx: list[str]) -> list[Finding]:
    """Check the base pair with these relations; the reasons are the names."""
    return list(checks.check(connection(sc1, lx)).findings)


def connection(sc1: list[str], lx: list[str]) -> Connection:
    ends: list[End] = []
    for rows, text in zip((sc1, lx), FILES.values(), strict=True):
        end = loads(text, path=f"{'lx' if ends else 'sc1'}.toml")
        head = text.partition("relations = [")[0]
        relations = "".join(f'  {{ {row}, reason = "r" }},\n' for row in rows)
        read = loads(f"{head}relations = [\n{relations}]\n", path=end.where.path)
        ends.append(dataclasses.replace(end, relations=read.relations))
    return Connection(first=ends[0], second=ends[1])


def test_one_contradiction_stated_at_both_ends_is_one_finding() -> None:
    row = 'name = "a", when = { brake1_release = 1 }, excludes = { brake1_release = 1 }'
    (found,) = findings([row], [row])
    assert found.message == "by the relation 'a', brake1_release can never be 1"
    assert [spot.end for spot in found.spots] == ["SC1", "LX"]


def test_several_relations_and_facts() -> None:
    rows = [
        'name = "a", when = { brake1_release = 0 }, requires = { brake2_release = 1 }',
        'name = "b", when = { brake2_release = 1 }, requires = { brake1_release = 1 }',
    ]
    found, at_rest = findings(rows, [])
    assert found.message == "by the relations 'a', 'b', brake1_release can never be 0"
    assert at_rest.message == (
        "with every signal at its safe value, SC1 breaks the relation a: brake1_release = 0 "
        "requires brake2_release = 1, but brake1_release is 0, brake2_release is 0"
    )


def test_the_safe_state_is_what_data_carry() -> None:
    """A safe value that a float of this width cannot hold arrives as the nearest that it can."""
    row = 'name = "a", when = { force = 2048 }, requires = { permit_torque = 1 }'
    pair = connection([], [])
    force = Signal(name="force", at=Place(1, 0), width=16, type="float", safe=2049)
    sends = Map(entries=(*pair.first.sends.entries[:-1], force))
    text = dumps(dataclasses.replace(pair.first, sends=sends))
    first = loads(f'{text}relations = [{{ {row}, reason = "r" }}]\n')
    report = checks.check(Connection(first=first, second=pair.second))
    (found,) = (each for each in report.findings if each.rule == "safe-state-forbidden")
    assert found.message.endswith("but force is 2048.0, permit_torque is 0")


def test_what_is_too_much_to_decide_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(states, "_MAX_STEPS", 1)
    row = 'name = "a", when = { brake1_release = 1 }, requires = { permit_torque = 1 }'
    (found,) = findings([row], [])
    assert found.rule == "relation-contradicts"
    assert found.message == (
        "whether the relations contradict each other is not known: relations between 2 signals "
        "must be decided within 1 steps, not more (simplify them)"
    )
    assert found.remedy == "state fewer relations between the same signals"


@pytest.mark.parametrize(
    ("sc1", "lx"),
    [
        ("requires = { permit_torque = 1 }", "requires = { receives.permit_torque = 1 }"),
        (
            "requires = { sends.permit_torque = [1, 1], receives.torque_on = 1 }",
            "requires = { torque_on = [1], permit_torque = 1 }",
        ),
    ],
)
def test_the_same_in_other_words(sc1: str, lx: str) -> None:
    head = 'name = "a", when = { brake1_release = 1 }, '
    assert findings([head + sc1], [head + lx]) == []
    assert compare_ends(connection([head + sc1], [head + lx])) == ()


def test_a_relation_may_stand_at_one_end_only() -> None:
    row = 'name = "a", when = { brake1_release = 1 }, requires = { permit_torque = 1 }'
    assert findings([row], []) == findings([], [row]) == []


@pytest.mark.parametrize(
    "lx",
    [
        "excludes = { permit_torque = 1 }",
        "requires = { permit_torque = 0 }",
        "follows = { permit_torque = 1 }",
    ],
)
def test_another_kind_or_number_differs(lx: str) -> None:
    head = 'name = "a", when = { brake1_release = 1 }, '
    (found,) = findings([head + "requires = { permit_torque = 1 }"], [head + lx])
    assert found.rule == "relations-differ"
    (change,) = compare_ends(connection([head + "requires = { permit_torque = 1 }"], [head + lx]))
    assert (change.level, change.kind, change.subject) == ("value", "relation", "a")
    assert change.sides == ("SC1", "LX")
    assert change.before == "brake1_release = 1 requires permit_torque = 1"


def test_a_name_that_is_no_signal_is_only_that() -> None:
    row = 'name = "a", when = { brake1_release = 1 }, requires = { torque = 1 }'
    assert {one.rule for one in findings([row], [row])} == {"relation-unknown-signal"}
