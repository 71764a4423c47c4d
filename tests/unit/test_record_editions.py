"""Records of the first edition: still read, written back as they were, judged by their maps."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import pytest

from safeframe import record
from safeframe._canonical import CANONICAL
from safeframe._errors import InputError
from safeframe._fingerprint import canonical, digest, end_fingerprint, wire_fingerprint
from safeframe._model import Connection
from safeframe._report.assessment import document, json_text
from safeframe._report.text import render
from tests.unit.record_maps import AFTER, BEFORE, FRESH, TESTED

NOTE = (
    "the record was made by an older release: its fingerprints are over safeframe-canonical/1, "
    "which this release does not compute; compared were the maps inside the record"
)


def first_edition(made: record.Record = TESTED, **computed: Any) -> str:
    """Return a record as the first edition wrote it: other fingerprints, another key."""
    data = json.loads(record.dumps(made))
    data["format"] = "safeframe-record/1"
    part = data["computed"]
    assert part.pop("canonical") == CANONICAL
    for state in (*part["before"], *part["after"]):
        state["wire"], state["own"] = "0" * 64, "1" * 64
    part["mixed"] = [
        {"terms" if key == "disagreeing" else key: value for key, value in mix.items()}
        for mix in part["mixed"]
    ]
    part.update(computed)
    data["computed_sha256"] = digest(canonical(part).encode("ascii"))
    return json.dumps(data, indent=1) + "\n"


def test_it_is_read_and_written_back_to_the_octet() -> None:
    old = first_edition()
    made = record.loads(old)
    assert made.computed.canonical == "safeframe-canonical/1"
    assert record.dumps(made) == old
    assert record.assess(made).faults == ()
    signed = record.sign(made, who="C. Dahl", role="safety engineer", when="2026-03-03")
    assert record.loads(record.dumps(signed)) == signed


def test_it_is_judged_by_the_maps_inside_and_says_so() -> None:
    found = record.verify(record.loads(first_edition()), AFTER)
    assert (found.faults, found.notes) == ((), (NOTE,))
    assert f"  note: {NOTE[:60]}" in render(document("SC1-LX", found))
    assert json.loads(json_text("SC1-LX", found))["notes"] == [NOTE]
    assert record.verify(TESTED, AFTER).notes == ()


def test_another_map_is_found() -> None:
    other = replace(AFTER.first, note="edited")
    made = record.loads(first_edition())
    (fault,) = record.verify(made, Connection(first=other, second=AFTER.second)).faults
    assert fault == (
        "SC1: the map after the change is another one: what it alone says has the fingerprint "
        f"{end_fingerprint(other)[:16]}, not {end_fingerprint(AFTER.first)[:16]}"
    )


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
    assert "computed.after[0].map" in record.verify(forged, AFTER).faults[0]


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
