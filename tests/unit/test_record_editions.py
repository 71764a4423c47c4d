"""Records of the first edition: still read and continued, judged by the maps inside them."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import pytest

from safeframe import record
from safeframe._canonical import CANONICAL, SECOND
from safeframe._errors import InputError
from safeframe._fingerprint import canonical, digest, end_fingerprint, plain, wire_fingerprint
from safeframe._model import Connection, End
from safeframe._report.assessment import document, json_text
from safeframe._report.text import render
from tests.unit.record_maps import AFTER, BEFORE, FRESH, SIGNED, TESTED

NOTE = (
    "the record was made by an older release: its fingerprints are over safeframe-canonical/1, "
    "which this release does not compute of these maps; compared were the maps inside the record"
)


FIRST = (
    "the history begins with what was entered in a safeframe-record/1: only the latest entries "
    "were kept there, and its approvals sealed neither who, role nor date"
)


def first_edition(made: record.Record = TESTED, **computed: Any) -> str:
    """Return a record as the first edition wrote it: other fingerprints and keys, no history."""
    data = json.loads(record.dumps(made))
    del data["history"]
    data["format"] = "safeframe-record/1"
    part = data["computed"]
    assert part.pop("canonical") == SECOND
    for state in (*part["before"], *part["after"]):
        state["wire"], state["own"] = "0" * 64, "1" * 64
    part["mixed"] = [
        {"terms" if key == "disagreeing" else key: value for key, value in mix.items()}
        for mix in part["mixed"]
    ]
    part.update(computed)
    data["computed_sha256"] = digest(canonical(part).encode("ascii"))
    people = plain(made.people)
    approvals = people.pop("approvals")
    state = {"computed_sha256": data["computed_sha256"], "people": people}
    signs = digest(canonical(state).encode("ascii"))
    data["people"] = {**people, "approvals": [{**row, "signs": signs} for row in approvals]}
    return json.dumps(data, indent=1) + "\n"


def test_what_was_entered_becomes_the_beginning_of_the_history() -> None:
    made = record.loads(first_edition())
    assert made.format == "safeframe-record/2"
    assert made.computed.canonical == "safeframe-canonical/1"
    carried, *rest = [entry.act for entry in made.history]
    people = json.loads(first_edition())["people"]
    assert carried == record.CarriedOver(
        edition="safeframe-record/1", sha256=digest(canonical(people).encode("ascii"))
    )
    assert record.title(carried) == "carried over from safeframe-record/1"
    assert rest == [entry.act for entry in TESTED.history]
    assert record.assess(made).faults == ()
    signed = record.sign(made, who="C. Dahl", role="safety engineer", when="2026-03-03")
    assert record.loads(record.dumps(signed)) == signed
    assert record.assess(signed).missing == ("approvals: 1 of 2",)


def test_a_step_that_it_lacks_is_told() -> None:
    """A checklist MUST NOT become shorter by the name of an older edition."""
    steps = json.loads(record.dumps(SIGNED))["computed"]["checklist"]
    assert record.verify(record.loads(first_edition(SIGNED)), AFTER).complete_and_signed
    bare = record.verify(record.loads(first_edition(SIGNED, checklist=[])), AFTER)
    assert bare.faults[0].startswith(
        "by this release, 31 steps must be tried that the record does not ask for, or does not "
        "require: SC1.brake2_release.non-safe and "
    )
    steps[0]["required"] = False
    mild = record.verify(record.loads(first_edition(SIGNED, checklist=steps)), AFTER)
    assert mild.faults == (
        "by this release, 1 step must be tried that the record does not ask for, or does not "
        f"require: {steps[0]['id']}",
    )


def test_what_has_no_result_is_carried_over_too() -> None:
    data = json.loads(first_edition(record.new(BEFORE, AFTER)))
    data["people"]["trials"][0].update(remark="the cable is missing")
    data["people"]["read_backs"][1].update(who="B. Chen")
    made = record.loads(json.dumps(data))
    assert made.people.trials[0].remark == "the cable is missing"
    assert [record.title(entry.act) for entry in made.history[1:]] == [
        "read-back of LX by B. Chen",
        f"no result: {made.steps[0]}",
    ]


def test_empty_rows_are_no_entries() -> None:
    made = record.loads(first_edition(record.new(BEFORE, AFTER)))
    assert len(made.history) == 1


def test_its_approvals_hold_for_the_state_that_they_signed() -> None:
    old = json.loads(first_edition(SIGNED))
    assert record.verify(record.loads(json.dumps(old)), AFTER).complete_and_signed
    old["people"]["approvals"][0]["signs"] = "0" * 64
    (fault,) = record.verify(record.loads(json.dumps(old)), AFTER).faults
    assert fault == (
        "the approval of C. Dahl (entry 1) was for another state already when it was carried over: "
        "withdraw it with its reason, then approve anew"
    )
    old["people"]["trials"][0]["remark"] = "edited"
    faults = record.verify(record.loads(json.dumps(old)), AFTER).faults
    assert [fault.partition(" was ")[0] for fault in faults] == [
        "the approval of C. Dahl (entry 1)",
        "the approval of D. Evans (entry 2)",
    ]


def test_what_stands_twice_there_is_refused() -> None:
    for rows, key in (("read_backs", "end"), ("trials", "id")):
        old = json.loads(first_edition())
        old["people"][rows].append(old["people"][rows][0])
        number, name = len(old["people"][rows]) - 1, old["people"][rows][0][key]
        with pytest.raises(InputError) as caught:
            record.loads(json.dumps(old))
        assert str(caught.value) == (
            f"<text>:1: people.{rows}[{number}].{key}: {key} must stand once, not {name} again"
        )
    old = json.loads(first_edition())
    old["people"]["trials"][0]["result"] = "ok"
    with pytest.raises(InputError, match=r"people.trials\[0\].result: result must be empty or one"):
        record.loads(json.dumps(old))


def test_it_is_judged_by_the_maps_inside_and_says_so() -> None:
    found = record.verify(record.loads(first_edition()), AFTER)
    assert (found.faults, found.notes[:2]) == ((), (NOTE, FIRST))
    assert f"  note: {NOTE[:60]}" in render(document("SC1-LX", found))
    assert json.loads(json_text("SC1-LX", found))["notes"][:2] == [NOTE, FIRST]
    assert record.assess(TESTED).notes == ()


def test_another_map_is_found() -> None:
    other = replace(AFTER.first, note="edited")
    made = record.loads(first_edition())
    _, fault = record.verify(made, Connection(first=other, second=AFTER.second)).faults
    assert fault == "SC1: note of end not stated -> edited, sc1-lx.toml:4"


def test_what_only_this_release_finds_is_a_fault() -> None:
    wrong = replace(AFTER.second, parameters=(("application_parameters", "00"),))
    made = record.new(BEFORE, Connection(first=AFTER.first, second=wrong))
    old = record.loads(first_edition(made, verdict="identical", differences=[], findings=[]))
    faults = record.verify(old, Connection(first=AFTER.first, second=wrong)).faults
    assert [fault.partition(":")[0] for fault in faults] == [
        "by this release, the ends were not edited identically",
        "by this release, open error parameter-differs",
    ]


def test_its_fingerprints_in_the_text_of_today() -> None:
    old, new = record.loads(first_edition()).computed, TESTED.computed
    for state, end in zip(old.after, AFTER.ends, strict=True):
        prints = wire_fingerprint(end), end_fingerprint(end)
        assert record.fingerprints(old, state) == prints
    assert record.fingerprints(new, new.after[0]) == (new.after[0].wire, new.after[0].own)


def test_a_map_in_another_spelling_is_the_recorded_one() -> None:
    (signal, *rest) = AFTER.first.sends.entries
    entries = (replace(signal, one_means="Torque  PERMITTED"), *rest)  # type: ignore[arg-type]
    respelt = replace(AFTER.first, sends=replace(AFTER.first.sends, entries=entries))
    assert respelt != AFTER.first
    found = record.verify(FRESH, Connection(first=respelt, second=AFTER.second))
    assert found.faults == ()


def test_a_forged_map_inside_is_no_other_spelling() -> None:
    states = tuple(
        replace(state, map=state.map.replace("torque permitted", "torque forbidden"))
        for state in FRESH.computed.after
    )
    forged = replace(FRESH, computed=replace(FRESH.computed, after=states))
    fault = record.verify(forged, AFTER).faults[0]
    assert fault == (
        'computed anew, maps after the change (row 1, map): ...\'= "torque forbidden", bind = '
        '"Lift.Permi\'... in the record, ...\'= "torque permitted", bind = "Lift.Permi\''
        "... from the maps"
    )


def respelt(end: End, text: str) -> End:
    """Return an end with another meaning of the first signal that LX sends, or SC1 receives."""
    name = "sends" if end.name == "LX" else "receives"
    rows = getattr(end, name)
    entries = (replace(rows.entries[0], one_means=text), *rows.entries[1:])
    changed: Any = {name: replace(rows, entries=entries)}
    return replace(end, **changed)


def stating(connection: Connection, text: str) -> Connection:
    first, second = (respelt(end, text) for end in connection.ends)
    return Connection(first=first, second=second)


def second_edition(made: record.Record) -> str:
    """Return a record as the last release wrote it, with fingerprints of its own."""
    data = json.loads(record.dumps(made))
    part = data["computed"]
    part["canonical"] = SECOND
    for state in (*part["before"], *part["after"]):
        state["wire"], state["own"] = "0" * 64, "1" * 64
    data["computed_sha256"] = digest(canonical(part).encode("ascii"))
    return json.dumps(data)


def test_most_maps_have_the_text_of_the_second_edition() -> None:
    assert FRESH.computed.canonical == SECOND
    assert record.assess(FRESH).notes == ()
    assert NOTE.replace("/1", "/2") not in record.verify(FRESH, AFTER).notes


@pytest.mark.parametrize("text", ["over 5 MW", "Maße", "10² \\ N"])
def test_texts_that_the_second_edition_took_for_others(text: str) -> None:
    before, after = stating(BEFORE, text), stating(AFTER, text)
    made = record.new(before, after)
    assert made.computed.canonical == CANONICAL
    assert record.verify(made, after).faults == record.assess(made).faults == ()
    assert record.assess(made).notes == ()
    old = record.loads(second_edition(made))
    found = record.verify(old, after)
    left = "not judged: application_parameters at both ends (no end states it)"
    assert (found.faults, found.notes) == ((), (NOTE.replace("/1", "/2"), left))


def test_two_texts_that_a_record_of_the_second_edition_took_for_one() -> None:
    before, after = stating(BEFORE, "over 5 MW"), stating(AFTER, "over 5 MW")
    old = record.loads(second_edition(record.new(before, after)))
    other = Connection(first=after.first, second=respelt(after.second, "over 5 mW"))
    void, fault = record.verify(old, other).faults
    assert void == record.VOID
    assert fault.startswith("LX: meaning of 1 of torque_off over 5 MW -> over 5 mW, ")
    mixed = record.new(before, other)
    same = replace(mixed.computed, verdict="identical", differences=(), findings=())
    old = record.loads(second_edition(replace(mixed, computed=same)))
    faults = record.verify(old, other).faults
    assert [fault.partition(":")[0] for fault in faults] == [
        "by this release, the ends were not edited identically",
        "by this release, open error meaning-differs",
    ]


def test_a_record_of_no_map_is_old_in_no_edition() -> None:
    data = json.loads(record.dumps(FRESH))
    data["computed"]["after"][0]["map"] = "no map²"
    assert record.assess(record.loads(json.dumps(data))).notes == ()


def test_another_canonical_text_is_no_text_of_a_record() -> None:
    data = json.loads(record.dumps(FRESH))
    data["computed"]["canonical"] = "safeframe-canonical/9"
    faults = record.assess(record.loads(json.dumps(data))).faults
    assert (
        "the computed part says that its fingerprints are over safeframe-canonical/9, not "
        "safeframe-canonical/2 or safeframe-canonical/3 as its edition has them"
    ) in faults


@pytest.mark.parametrize(
    ("data", "message"),
    [
        ({"format": "safeframe-record/1"}, "computed must be stated"),
        ({"format": "safeframe-record/1", "computed": {"mixed": [1]}}, "must be an object"),
        ([], "must be an object"),
    ],
)
def test_what_is_no_record_is_refused(data: Any, message: str) -> None:
    with pytest.raises(InputError, match=message):
        record.loads(json.dumps(data))
