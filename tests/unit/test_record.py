"""Records: what is computed, what people enter, what voids them."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st

from safeframe import _checks as checks
from safeframe import _mapfile as mapfile
from safeframe import record
from safeframe._bits import Place
from safeframe._document.problems import Problems
from safeframe._document.tables import Tables
from safeframe._errors import InputError, UsageError
from safeframe._fingerprint import end_fingerprint, plain, wire_fingerprint
from safeframe._model import Allowance, Connection, End, Map, Provenance, Reserved, Signal
from safeframe.record import (
    ApprovalAct,
    BitOwner,
    ReadBack,
    ReadBackAct,
    Record,
    Trial,
    TrialAct,
)
from safeframe.record._assess import verify_with
from safeframe.record._codec import kind_of, schema
from safeframe.record._editions import digest_of
from safeframe.record._workings import Workings
from tests.unit.record_maps import (
    AFTER,
    BEFORE,
    FRESH,
    SIGNED,
    TESTED,
    acts_of,
    data_of,
    signed,
    with_acts,
)

ANYHOW: Any = record
ANYHOW_REPLACE: Any = replace
"""What a program without type checks may do."""

SCHEMA = Path(record.__file__).parents[1] / "schemas" / "record.schema.json"


def changed_signal(end: End, number: int, **values: Any) -> End:
    entries = list(end.sends.entries)
    entries[number] = replace(entries[number], **values)
    return replace(end, sends=Map(entries=tuple(entries)))


class TestComputed:
    def test_states(self) -> None:
        computed = FRESH.computed
        assert (computed.connection, computed.profile, computed.edition) == (
            "SC1-LX",
            "fscp-12-1",
            "2010",
        )
        for states, connection in ((computed.before, BEFORE), (computed.after, AFTER)):
            for state, end in zip(states, connection.ends, strict=True):
                assert state.end == end.name
                assert state.wire == wire_fingerprint(end)
                assert state.own == end_fingerprint(end)
                assert mapfile.loads(state.map) == end

    def test_bits(self) -> None:
        rows = [row for row in FRESH.computed.bits if row.changed]
        assert [(row.direction, row.place) for row in rows] == [
            ("SC1 -> LX", "1.2"),
            ("LX -> SC1", "1.2"),
        ]
        assert rows[0].before == (BitOwner(what="reserved", bind=""),) * 2
        assert rows[0].after == (
            BitOwner(what="brake2_release", bind="Lift.Brake2Release"),
            BitOwner(what="brake2_release", bind="Drive.Brake2Release"),
        )
        places = [row.place for row in FRESH.computed.bits if row.direction == "SC1 -> LX"]
        assert places[-3:] == ["1.0-1.1", "1.2", "1.3-1.7"]

    def test_bits_of_a_hole_and_of_an_overlap(self) -> None:
        first = replace(AFTER.first, sends=Map(entries=AFTER.first.sends.entries[1:]))
        first = changed_signal(first, 0, at=first.sends.entries[1].at)
        computed = record.compute(AFTER, Connection(first=first, second=AFTER.second))
        cells = {row.place: row.after[0].what for row in computed.bits if "SC1 ->" in row.direction}
        assert cells["0.0"] == cells["0.1"] == "not declared"
        assert cells["0.2"] == "permit_no_ss1 and permit_no_sos"

    def test_kind_of_change(self) -> None:
        computed = FRESH.computed
        assert computed.verdict == "identical"
        assert computed.differences == ()
        assert {reason.name for reason in computed.classes} == {"taken from a gap"}
        assert [(mix.updated, mix.outdated) for mix in computed.mixed] == [
            ("SC1", "LX"),
            ("LX", "SC1"),
        ]
        row = next(row for row in computed.mixed[0].tables[1].rows if row.verdict != "same")
        assert (row.place, row.signal, row.gets, row.verdict) == (
            "1.2",
            "brake2_applied",
            "reserved, always 0",
            "constant",
        )
        assert computed.times.reaction == "at most 112 ms = watchdog (100 ms) + exchange (12 ms)"
        assert (computed.times.permitted, computed.times.source) == (
            "not stated",
            "common practice",
        )

    def test_times(self) -> None:
        def slow(end: End) -> End:
            return replace(
                end,
                connection_table=replace(
                    end.connection_table, exchange_ms=None, permitted_reaction_ms=250
                ),
            )

        after = Connection(first=slow(AFTER.first), second=slow(AFTER.second))
        computed = record.compute(AFTER, after)
        assert computed.times.reaction == (
            "at least 100 ms = watchdog (100 ms) + exchange (not stated)"
        )
        assert computed.times.permitted == "250 ms"
        only_first = Connection(first=after.first, second=AFTER.second)
        (mix, _) = record.compute(AFTER, only_first).mixed
        assert mix.disagreeing == (
            "exchange_ms: not stated at SC1, 12 ms at LX",
            "permitted_reaction_ms: 250 ms at SC1, not stated at LX",
        )

    def test_findings_and_allowances(self) -> None:
        first = changed_signal(AFTER.first, 9, bind="")
        second = changed_signal(AFTER.second, 9, bind="")
        first = replace(
            first,
            allowances=(Allowance(rule="unbound-signal", reason="comes with release 2"),),
        )
        computed = record.compute(AFTER, Connection(first=first, second=second))
        found = {entry.culprits: entry.allowed for entry in computed.findings}
        assert found == {
            ("LX 1.2 brake2_applied",): "",
            ("SC1 1.2 brake2_release",): "comes with release 2",
        }
        assert {entry.rule for entry in computed.findings} == {"unbound-signal"}
        both = Connection(first=first, second=replace(second, allowances=first.allowances))
        assert record.assess(record.new(AFTER, both)).faults == ()

    def test_nothing_depends_on_path_or_clock(self) -> None:
        text = record.dumps(FRESH)
        assert "sc1-lx.toml" not in text
        code = (
            "from tests.unit.record_maps import FRESH; from safeframe import record;"
            "print(record.dumps(FRESH), end='')"
        )
        environment = os.environ | {"PYTHONHASHSEED": "7", "TZ": "Asia/Tokyo", "LC_ALL": "C"}
        run = subprocess.run(
            [sys.executable, "-c", code],
            capture_output=True,
            text=True,
            check=True,
            env=environment,
            cwd=Path(__file__).parents[2],
        )
        assert run.stdout == text


class TestFiles:
    def test_round_trip(self) -> None:
        for made in (FRESH, TESTED, SIGNED):
            assert record.loads(record.dumps(made)) == made

    def test_load(self, tmp_path: Path) -> None:
        path = tmp_path / "r.json"
        path.write_text(record.dumps(SIGNED), encoding="utf-8")
        assert record.load(path) == SIGNED

    def test_a_right_value_opens_no_door_for_a_wrong_one(self) -> None:
        """What is given once as it must be MUST NOT spare the next one the look."""
        assert ANYHOW.request(FRESH, hazards=("load drops",)).history
        with pytest.raises(UsageError, match=r"^hazards must be of type tuple\[str, \.\.\.\]"):
            ANYHOW.request(FRESH, hazards=("load drops", None))

    @pytest.mark.parametrize(
        ("change", "told"),
        [
            (
                lambda given: ANYHOW.fill(given, "SC1", serial=1001),
                "serial must be of type str | None, not int: 1001",
            ),
            (
                lambda given: ANYHOW.fill(given, "SC1", who=None, serial="1001"),
                "who must be of type str, not NoneType: None",
            ),
            (
                lambda given: ANYHOW.request(given, hazards=iter(("load drops",))),
                "hazards must be of type tuple[str, ...] | None, not tuple_iterator: <tuple_",
            ),
            (
                lambda given: ANYHOW.request(given, hazards=("load drops", None)),
                "hazards must be of type tuple[str, ...] | None, not tuple: ('load drops', None)",
            ),
            (
                lambda given: replace(given, computed=ANYHOW_REPLACE(given.computed, profile=7)),
                "computed.profile: profile must be a text, not 7",
            ),
            (
                lambda given: record.request(given, reason="x" * (1 << 26)),
                "a record must be at most 67108864 octets, not ",
            ),
        ],
    )
    def test_what_could_not_be_read_back_is_not_written(
        self, tmp_path: Path, change: Callable[[Record], Record], told: str
    ) -> None:
        """Nobody but the next reader would notice, and all that people had entered were gone."""
        path = tmp_path / "r.json"
        record.create(path, FRESH)
        before = path.read_bytes()
        with pytest.raises(UsageError, match=f"^{re.escape(told)}"):
            record.update(path, change)
        assert path.read_bytes() == before
        other = tmp_path / "other.json"
        with pytest.raises(UsageError, match=f"^{re.escape(told)}"):
            record.create(other, change(FRESH))
        assert not other.exists()

    def test_schema(self) -> None:
        assert SCHEMA.read_text(encoding="utf-8") == record.schema_text()
        described = json.loads(record.schema_text())
        jsonschema.Draft202012Validator.check_schema(described)
        for made in (FRESH, SIGNED):
            jsonschema.validate(data_of(made), described)
        for key, value in (("result", "ok"), ("kind", "approval"), ("seal", 1), ("more", "")):
            wrong = data_of(SIGNED)
            wrong["history"][3][key] = value
            with pytest.raises(jsonschema.ValidationError):
                jsonschema.validate(wrong, described)

    @pytest.mark.parametrize(
        ("path", "value", "message"),
        [
            ("format", "x", "format: format must be \"safeframe-record/2\", not 'x'"),
            ("history", {}, "history: history must be an array, not an object"),
            ("history", [7], "history[0]: an entry of history must be an object, not 7"),
            ("history", [{}], "history[0].kind: kind must be stated"),
            (
                "history",
                [{"kind": []}],
                "history[0].kind: kind must be one of request, read-back, result, approval, "
                "withdrawal, carried over, evidence, not an array",
            ),
            (
                "history.0.reason",
                7,
                "history[0].reason: reason must be a text, not 7",
            ),
            (
                "history.0.hazards",
                "x" * 60,
                f"history[0].hazards: hazards must be an array, not '{'x' * 40}'... "
                "(60 characters)",
            ),
            (
                "history.0.hazards",
                [1],
                "history[0].hazards[0]: an entry of hazards must be a text, not 1",
            ),
            (
                "history.0.colour",
                "red",
                "history[0].colour: a key must be one that this entry knows, not 'colour' "
                "(known are kind, reason, asked_by, hazards, who, when, previous, seal)",
            ),
            (
                "history.3.result",
                "ok",
                "history[3].result: result must be empty or one of passed, failed, not "
                "applicable, not 'ok'",
            ),
            ("computed.after", [], "computed.after: after must hold both ends, not 0"),
            (
                "computed.bits",
                [{**plain(FRESH.computed.bits[0]), "before": [{"what": "", "bind": ""}]}],
                "computed.bits[0].before: before must hold both ends, not 1",
            ),
            (
                "computed.mixed",
                [{"updated": "", "outdated": "", "disagreeing": []}],
                "computed.mixed[0].tables: tables must be stated",
            ),
            (
                "computed.checklist",
                [{**plain(FRESH.computed.checklist[0]), "required": 1}],
                "computed.checklist[0].required: required must be true or false, not 1",
            ),
        ],
    )
    def test_refusals(self, path: str, value: Any, message: str) -> None:
        data = data_of(SIGNED)
        *steps, last = path.split(".")
        inner = data
        for step in steps:
            inner = inner[int(step) if step.isdigit() else step]
        inner[last] = value
        with pytest.raises(InputError) as caught:
            record.loads(json.dumps(data), path="r.json")
        assert str(caught.value) == f"r.json:1: {message}"

    @pytest.mark.parametrize(
        ("text", "message"),
        [
            ("{", "1: the text must be valid JSON at column 2: Expecting property name"),
            ('{"a": 1, "a": 2}', "1: the text must be valid JSON: the key 'a' must stand once"),
            ("[" * 100_000, "1: arrays and objects must not be nested as deeply as here"),
            ("7", " a record must be an object, not 7"),
        ],
    )
    def test_no_record_at_all(self, text: str, message: str) -> None:
        with pytest.raises(InputError) as caught:
            record.loads(text, path="r.json")
        assert str(caught.value).startswith(f"r.json:{message}")

    def test_a_none_is_read_where_one_is_possible(self) -> None:
        tables = Tables(Problems("x"))
        assert tables.value(kind_of(int | None), None, ("x",)) is None
        assert tables.value(kind_of(int | None), 3, ("x",)) == 3
        assert len(tables.problems) == 0
        assert schema(int | None) == {"anyOf": [{"type": "integer"}, {"type": "null"}]}


class TestActs:
    def test_a_fresh_record_asks_for_everything(self) -> None:
        blank = record.new(BEFORE, AFTER)
        found = record.assess(blank)
        assert found.faults == ()
        assert found.missing[:5] == (
            "request: a reason",
            "request: who asked for the change",
            'request: hazards possibly affected, or the words "none" and why',
            "read-back of SC1: who, when, serial, checksum, expected",
            "read-back of LX: who, when, serial, checksum, expected",
        )
        assert found.missing[5] == "step SC1.brake2_release.non-safe: not done"
        assert found.missing[-1] == "approvals: 0 of 2"
        assert len(found.missing) == 5 + len(blank.computed.checklist) + 1

    def test_a_signed_record_is_complete(self) -> None:
        found = record.verify(SIGNED, AFTER)
        assert (found.faults, found.missing, found.complete_and_signed) == ((), (), True)
        assert record.verify(SIGNED, AFTER, before=BEFORE).complete_and_signed

    def test_the_order_of_the_ends_does_not_matter(self) -> None:
        turned = Connection(first=AFTER.second, second=AFTER.first)
        assert record.verify(SIGNED, turned).complete_and_signed

    def test_fill_names_the_ends(self) -> None:
        with pytest.raises(UsageError, match="the read-back must be of SC1 or LX, not of LX2"):
            record.fill(FRESH, "LX2", who="x")

    def test_done_names_the_nearest_step(self) -> None:
        entry = {"who": "x", "when": "y", "result": "passed"}
        with pytest.raises(UsageError) as caught:
            record.done(FRESH, "SC1.brake2_release.nonsafe", **entry)
        assert str(caught.value) == (
            "a step must be one of the checklist, not SC1.brake2_release.nonsafe (did you mean "
            "SC1.brake2_release.non-safe?)"
        )
        with pytest.raises(UsageError, match=r"not zzz$"):
            record.done(FRESH, "zzz", **entry)
        with pytest.raises(
            UsageError, match="must be one of passed, failed, not applicable, not ok"
        ):
            record.done(FRESH, "wrong-device", who="x", when="y", result="ok")

    def test_an_unfinished_record_cannot_be_signed(self) -> None:
        with pytest.raises(UsageError) as caught:
            record.sign(FRESH, who="C. Dahl", role="x", when="y")
        assert str(caught.value) == (
            "a record must be complete before it is signed, not: read-back of SC1: who, when, "
            "serial, checksum, expected (and 32 more)"
        )
        almost = record.fill(TESTED, "LX", who="A. Berg", when="2026-03-03", serial=" ")
        with pytest.raises(UsageError, match=r"not: read-back of LX: serial$"):
            record.sign(almost, who="C. Dahl", role="x", when="y")

    def test_nobody_signs_twice(self) -> None:
        once = record.sign(TESTED, who="C. Dahl", role="x", when="y")
        with pytest.raises(UsageError) as caught:
            record.sign(once, who="c.  DAHL", role="z", when="y")
        assert str(caught.value) == (
            "an approval must be by another person, not by c.  DAHL again (entry 35 is by C. "
            "Dahl; it can be withdrawn)"
        )


class TestFaults:
    def faults(self, given: Record) -> tuple[str, ...]:
        return record.assess(given).faults

    def test_an_edited_computed_part(self) -> None:
        edited = replace(FRESH, computed=replace(FRESH.computed, edition="2022"))
        (fault,) = self.faults(edited)
        assert fault.startswith("the computed part was edited: its fingerprint is ")
        assert fault.endswith(f"the record says {FRESH.computed_sha256[:16]}")

    def test_ends_edited_differently_and_open_findings(self) -> None:
        made = record.new(BEFORE, Connection(first=AFTER.first, second=BEFORE.second))
        different, *findings = self.faults(made)
        assert different.startswith("the ends were not edited identically: SC1 added brake2")
        assert [fault.partition(":")[0] for fault in findings] == [
            "open error one-sided-signal"
        ] * 2

    def test_a_read_back_that_differs(self) -> None:
        (fault,) = self.faults(record.fill(TESTED, "LX", checksum="4F2A0012"))
        assert fault == ("read-back of LX: the device shows 4F2A0012, expected is 4F2A0011")

    @pytest.mark.parametrize(
        ("remark", "message"),
        [
            ("", "step wrong-device failed"),
            ("it answered", "step wrong-device failed: it answered"),
        ],
    )
    def test_a_failed_step(self, remark: str, message: str) -> None:
        failed = record.done(
            TESTED, "wrong-device", who="x", when="y", result="failed", remark=remark
        )
        assert self.faults(failed) == (message,)

    def test_strangers(self) -> None:
        _, reading, _, trial, *_ = acts_of(TESTED)
        assert isinstance(reading, ReadBackAct)
        assert isinstance(trial, TrialAct)
        strange = with_acts(
            TESTED, *acts_of(TESTED), replace(reading, end="LX2"), replace(trial, step="new")
        )
        count = len(TESTED.history)
        assert self.faults(strange) == (
            f"entry {count + 1} is a read-back of LX2, which the computed part has not",
            f"entry {count + 2} is a result of new, which the computed part has not",
        )

    def test_one_person_twice(self) -> None:
        one = ApprovalAct(who="C. Dahl", role="safety engineer", when="2026-03-03")
        twice = with_acts(TESTED, *acts_of(TESTED), one, replace(one, who="c.dahl", role="other"))
        assert self.faults(twice) == (
            "2 approvals are by one person, C. Dahl and c.dahl: each must be by another",
        )

    def test_an_entry_after_the_signatures(self) -> None:
        later = record.fill(SIGNED, "LX", who="A. Berg", when="2026-03-04", serial="LX-1002")
        first, second = self.faults(later)
        count = len(TESTED.history)
        assert first == (
            f"the approval of C. Dahl (entry {count + 1}) was given before entry {count + 3} "
            "(read-back of LX by A. Berg, 2026-03-04): withdraw it with its reason, then approve "
            "anew"
        )
        assert second.startswith("the approval of D. Evans")

    def test_another_map(self) -> None:
        after = Connection(first=AFTER.first, second=changed_signal(AFTER.second, 0, bind="X"))
        found = record.verify(SIGNED, after)
        assert found.faults == (
            "the maps are not those of the record, which is void for them:",
            "LX: binding of torque_off Drive.TorqueOff -> X, lx-sc1.toml:6",
        )
        found = record.verify(SIGNED, BEFORE)
        assert found.faults[1:3] == (
            "SC1: brake2_release removed, it was at 1.2, bool, 1 bit, sc1-lx.toml",
            "SC1: brake2_applied removed, it was at 1.2, bool, 1 bit, sc1-lx.toml",
        )

    @pytest.mark.parametrize(
        ("changes", "told"),
        [
            ({"file": "b.xml"}, "file of imported a.xml -> b.xml"),
            ({"sha256": "0" * 64}, f"sha256 of imported {'ab' * 32} -> {'0' * 64}"),
            ({"select": ("y",)}, "select of imported x -> y"),
            ({"select": ("x, y",)}, "select of imported x -> x, y"),
            ({"options": ("--as device",)}, "options of imported not stated -> --as device"),
            ({"version": "0.0.1"}, "version of imported not stated -> 0.0.1"),
            (None, "format of imported esi -> not stated"),
        ],
    )
    def test_where_a_map_came_from(self, changes: dict[str, Any] | None, told: str) -> None:
        """Any edit of what a map says MUST be told, also of what is in no fingerprint."""
        origin = Provenance(format="esi", file="a.xml", sha256="ab" * 32, select=("x",))
        imported = Connection(first=AFTER.first, second=replace(AFTER.second, imported=origin))
        made = record.new(BEFORE, imported)
        assert not record.verify(made, imported).faults
        other = None if changes is None else replace(origin, **changes)
        after = Connection(first=AFTER.first, second=replace(AFTER.second, imported=other))
        found = record.verify(made, after)
        assert found.faults[:2] == (record.VOID, f"LX: {told}, lx-sc1.toml")

    def test_another_baseline(self) -> None:
        before = Connection(
            first=changed_signal(BEFORE.first, 0, one_means="x"), second=BEFORE.second
        )
        found = record.verify(SIGNED, AFTER, before=before)
        assert found.faults[1:] == (
            "SC1 before the change: meaning of 1 of permit_torque torque permitted -> x, "
            "sc1-lx.toml:6",
        )

    def test_a_baseline_that_is_no_map_any_more(self) -> None:
        states = tuple(replace(state, map="x") for state in FRESH.computed.before)
        forged = replace(FRESH, computed=replace(FRESH.computed, before=states))
        with pytest.raises(InputError, match=r"^<SC1 before, in the record>:1: "):
            record.verify(forged, AFTER)
        assert record.verify(forged, AFTER, before=BEFORE).faults

    def test_many_differences_of_one_end_are_counted(self) -> None:
        entries = tuple(
            replace(entry, note="x") if isinstance(entry, Signal) else entry
            for entry in AFTER.first.sends.entries
        )
        notes = tuple(
            replace(entry, note="x") if isinstance(entry, Signal) else entry
            for entry in AFTER.first.receives.entries
        )
        first = replace(AFTER.first, sends=Map(entries=entries), receives=Map(entries=notes))
        faults = record.verify(SIGNED, Connection(first=first, second=AFTER.second)).faults
        assert len(faults) == 1 + 12 + 1
        assert faults[1] == "SC1: note of permit_torque not stated -> x, sc1-lx.toml:6"
        assert faults[-1] == "SC1: 8 more differences"

    def test_what_words_cannot_tell_the_fingerprints_do(self) -> None:
        """A fingerprint that was forged, or a map inside that is no map any more."""
        state, other = SIGNED.computed.after
        for forged, which in (
            (replace(state, wire="0" * 64), "wire"),
            (replace(state, own="0" * 64), "end"),
            (replace(state, own="0" * 64, map="x"), "end"),
        ):
            computed = replace(SIGNED.computed, after=(forged, other))
            _, fault, *_ = record.verify(replace(SIGNED, computed=computed), AFTER).faults
            now = {"wire": wire_fingerprint, "end": end_fingerprint}[which](AFTER.first)
            assert fault == (
                f"SC1: the map is another one: its {which} fingerprint is {now[:16]}, not "
                "0000000000000000"
            )

    def test_few_differences_are_all_named(self) -> None:
        times = replace(FRESH.computed.times, source="hearsay")
        forged = replace(FRESH, computed=replace(FRESH.computed, times=times))
        assert record.verify(forged, AFTER).faults[0] == (
            "computed anew, reaction time (source): 'hearsay' in the record, 'common practice' "
            "from the maps"
        )


class TestMissing:
    def missing(self, given: Record) -> tuple[str, ...]:
        return record.assess(given).missing

    @pytest.mark.parametrize(
        ("entry", "message"),
        [
            ({"result": ""}, "step {}: not done"),
            ({"who": " "}, "step {}: who and when"),
            ({"when": ""}, "step {}: who and when"),
            ({"result": "not applicable"}, None),
        ],
    )
    def test_steps(self, entry: dict[str, str], message: str | None) -> None:
        step = "SC1.brake2_release.non-safe"
        message = message or "step {}: must pass, a bit never driven proves nothing"
        acts = [
            replace(act, **entry) if isinstance(act, TrialAct) and act.step == step else act
            for act in acts_of(TESTED)
        ]
        assert self.missing(with_acts(TESTED, *acts)) == (
            message.format(step),
            "approvals: 0 of 2",
        )

    def test_a_step_that_does_not_apply_needs_a_reason(self) -> None:
        entry = {"who": "x", "when": "y", "result": "not applicable"}
        without = record.done(TESTED, "wrong-device", **entry)
        assert self.missing(without)[0] == "step wrong-device: why it is not applicable"
        reasoned = record.done(TESTED, "wrong-device", remark="only one device", **entry)
        assert self.missing(reasoned) == ("approvals: 0 of 2",)

    @pytest.mark.parametrize("nothing", ["-", "...", "\u200b", "\u2060 ?", "\u3164"])
    def test_what_states_nothing_is_still_open(self, nothing: str) -> None:
        """A dash, or what nobody can see, MUST NOT count as entered anywhere."""
        bare = record.new(BEFORE, AFTER, reason=nothing, asked_by=nothing, hazards=(nothing,))
        words = dict.fromkeys(("who", "when", "serial", "checksum", "expected"), nothing)
        bare = record.fill(bare, "SC1", **words)
        bare = record.fill(bare, "LX", who="A", when="d", serial="1", checksum="A", expected="A")
        step = "wrong-device"
        bare = record.done(bare, step, who=nothing, when="d", result="passed")
        found = record.assess(bare)
        assert found.faults == ()
        assert {
            "request: a reason",
            "request: who asked for the change",
            'request: hazards possibly affected, or the words "none" and why',
            "read-back of SC1: who, when, serial, checksum, expected",
            f"step {step}: who and when",
        } <= set(found.missing)
        assert not bare.people.read_backs[0].matches
        assert {point.subject for point in found.points if point.aspect == "request"} == {""}
        words = {"who": "A", "when": "d", "result": "not applicable"}
        bare = record.done(bare, step, remark=nothing, **words)
        assert f"step {step}: why it is not applicable" in record.assess(bare).missing
        with pytest.raises(UsageError, match="an approval must state role, not "):
            record.sign(TESTED, who="A", role=nothing, when="d")

    def test_nothing_entered(self) -> None:
        assert len(self.missing(with_acts(TESTED))) == 3 + 2 + len(TESTED.computed.checklist) + 1

    @pytest.mark.parametrize("who", ["", " ", "--", "\u3164\ufe0f"])
    def test_an_approval_without_a_name(self, who: str) -> None:
        *acts, one, _ = acts_of(SIGNED)
        nameless = ApprovalAct(who=who, role="r", when="w")
        assert self.missing(with_acts(SIGNED, *acts, one, nameless)) == (
            "approval of nobody: who, role and when",
            "approvals: 1 of 2",
        )
        twice = with_acts(SIGNED, *acts, nameless, nameless)
        assert self.missing(twice)[-1] == "approvals: 0 of 2"
        assert self.missing(with_acts(SIGNED, *acts, one)) == ("approvals: 1 of 2",)

    @pytest.mark.parametrize("name", ["role", "when"])
    def test_an_approval_without_role_or_date(self, name: str) -> None:
        *acts, one, two = acts_of(SIGNED)
        assert isinstance(two, ApprovalAct)
        edited = with_acts(SIGNED, *acts, one, replace(two, **{name: " "}))
        assert self.missing(edited) == ("approval of D. Evans: who, role and when",)


@pytest.mark.parametrize(
    ("checksum", "expected", "same"),
    [("4F2A", "4f2a", True), ("4F 2A", "4f2a ", True), ("", "", False), ("1", "2", False)],
)
def test_checksums(checksum: str, expected: str, same: bool) -> None:
    entry = ReadBack(end="", who="", when="", serial="", checksum=checksum, expected=expected)
    assert entry.matches is same


def leaves(data: Any, path: tuple[str | int, ...] = ()) -> Iterator[tuple[str | int, ...]]:
    """Yield the path of every text, number and truth value."""
    items: Any = ()
    if isinstance(data, dict):
        items = data.items()
    elif isinstance(data, list):
        items = enumerate(data)
    else:
        yield path
    for key, inner in items:
        yield from leaves(inner, (*path, key))


class TestVoidAfterAnyEdit:
    """A record MUST verify until any part that matters changes, and fail for each such part."""

    def test_every_leaf_of_the_computed_part(self) -> None:
        data = data_of(SIGNED)
        paths = list(leaves(data["computed"]))
        assert len(paths) > 500
        for path in paths:
            inner = data["computed"]
            for key in path[:-1]:
                inner = inner[key]
            old = inner[path[-1]]
            inner[path[-1]] = (not old) if type(old) is bool else old + type(old)("1")
            edited = Tables(Problems("x")).value(kind_of(Record), data, ())
            inner[path[-1]] = old
            assert record.assess(edited).faults[0].startswith("the computed part was"), path

    @given(st.data())
    def test_every_leaf_with_the_fingerprint_made_anew(self, data: st.DataObject) -> None:
        edited = data_of(SIGNED)
        path = data.draw(st.sampled_from(list(leaves(edited["computed"]))))
        if path[0] == "before" and path[-1] == "map":
            return  # Then it is another baseline: the next test.
        inner = edited["computed"]
        for key in path[:-1]:
            inner = inner[key]
        old = inner[path[-1]]
        inner[path[-1]] = (not old) if type(old) is bool else old + type(old)("1")
        forged = record.loads(json.dumps(edited))
        forged = replace(forged, computed_sha256=digest_of(forged.computed))
        forged = with_acts(forged, *acts_of(forged))  # Every seal made anew, too.
        assert not record.verify(forged, AFTER).complete_and_signed

    def test_another_baseline_with_the_fingerprint_made_anew(self) -> None:
        made = signed_record_of(AFTER, AFTER)
        computed = replace(made.computed, before=SIGNED.computed.before)
        forged = replace(made, computed=computed, computed_sha256=digest_of(computed))
        assert not record.verify(forged, AFTER).complete_and_signed

    def test_every_field_of_every_signal(self) -> None:
        new: dict[str, Any] = {
            "name": "other",
            "at": AFTER.first.sends.entries[-1].at,
            "width": None,
            "type": None,
            "order": None,
            "safe": 1,
            "one_means": "other",
            "edge": "falling",
            "unit": "mm",
            "scale": "0.5",
            "codes": ((1, "x"),),
            "valid_by": "other",
            "mirrors": "other",
            "bind": "other",
            "note": "other",
        }
        assert set(new) == {field.name for field in fields(Signal) if field.compare}
        for side in ("sends", "receives"):
            for number, entry in enumerate(AFTER.first.sends.signals):
                for name, value in new.items():
                    values: dict[str, Any] = {name: value}
                    if name in ("width", "type", "order"):
                        if entry.width != 1:
                            continue
                        tricky: dict[str, dict[str, Any]] = {
                            "width": {"width": 2, "type": "uint"},
                            "type": {"type": "uint"},
                            "order": {"order": "big", "type": "uint", "width": 8},
                        }
                        values = tricky[name]
                        if name == "order" and entry.at.bit:
                            continue
                    map_: Map = getattr(AFTER.first, side)
                    entries = list(map_.entries)
                    entries[number] = replace(entries[number], **values)
                    edited: dict[str, Any] = {side: Map(entries=tuple(entries))}
                    first = replace(AFTER.first, **edited)
                    again = Connection(first=first, second=AFTER.second)
                    try:
                        found = record.verify(SIGNED, again)
                    except InputError:
                        continue  # No map file can say it.
                    assert not found.complete_and_signed, (side, number, name)

    def test_every_other_field_of_an_end(self) -> None:
        connection_table: dict[str, Any] = {
            "name": "other",
            "profile": "plain",
            "edition": "other",
            "id": 9,
            "watchdog_ms": 99,
            "exchange_ms": 9,
            "permitted_reaction_ms": 9,
            "legal_octets": (2,),
            "network": "other",
        }
        own: dict[str, Any] = {
            "name": "other",
            "peer": "other",
            "role": "slave",
            "address": 9,
            "parameters": (("x", 1),),
            "allowances": (Allowance(rule="hole", reason="x"),),
            "note": "other",
            "relations": record_relations(),
        }
        changed = [
            replace(AFTER.first, connection_table=replace(AFTER.first.connection_table, **{k: v}))
            for k, v in connection_table.items()
        ]
        changed += [replace(AFTER.first, **{k: v}) for k, v in own.items()]
        assert set(own) | {"connection_table", "sends", "receives"} == {
            field.name for field in fields(End) if field.compare
        }
        for first in changed:
            found = record.verify(SIGNED, Connection(first=first, second=AFTER.second))
            assert not found.complete_and_signed

    def test_comments_and_layout_do_not_matter(self) -> None:
        text = "# signed on paper\n\n" + mapfile.dumps(AFTER.first).replace(" = ", "  =  ", 3)
        again = Connection(first=mapfile.loads(text, path="x.toml"), second=AFTER.second)
        assert record.verify(SIGNED, again).complete_and_signed

    def test_rows_in_another_order_do_not_matter(self) -> None:
        first, second, *rest = AFTER.first.sends.entries
        other = replace(AFTER.first, sends=Map(entries=(second, first, *rest)))
        again = Connection(first=other, second=AFTER.second)
        assert record.verify(SIGNED, again).complete_and_signed

    def test_bits_that_are_reserved_twice(self) -> None:
        """Such a map says the same, bit for bit, but a check of it finds an error."""
        *rows, run = AFTER.second.receives.entries
        assert isinstance(run, Reserved)
        twice = replace(run, at=Place.at(run.start + 1), width=run.width - 1)
        again = Connection(
            first=AFTER.first,
            second=replace(AFTER.second, receives=Map(entries=(*rows, run, twice))),
        )
        found = record.verify(SIGNED, again)
        assert found.faults == (
            "as the maps are written now, open error overlap: the reserve at 1.3 and the reserve "
            "at 1.4 share 4 bits at 1.4-1.7",
        )
        made = record.new(BEFORE, again, reason="x", asked_by="y", hazards=("none",))
        told = (
            "open error overlap: the reserve at 1.3 and the reserve at 1.4 share 4 bits at 1.4-1.7"
        )
        assert record.verify(made, again).faults == (told,)
        # Where the record tells it already, it is told once.
        *rows, first, last = again.second.receives.entries
        longer = replace(again.second, receives=Map(entries=(*rows, last, first)))
        moved = Connection(first=AFTER.first, second=longer)
        assert record.verify(made, moved).faults == (told,)


def record_relations() -> Any:
    from safeframe._model import Relation

    return (
        Relation(
            name="r",
            when=(("brake2_release", (1,)),),
            requires=(("permit_torque", (1,)),),
            reason="x",
        ),
    )


def signed_record_of(before: Connection, after: Connection) -> Record:
    made = record.new(before, after, reason="x", asked_by="y", hazards=("none: no change",))
    for end in ("SC1", "LX"):
        made = record.fill(made, end, who="a", when="b", serial="c", checksum="d", expected="d")
    return signed(made)


def test_an_empty_change_needs_no_step() -> None:
    made = signed_record_of(AFTER, AFTER)
    assert made.people.trials == ()
    assert made.computed.verdict == "nothing changed"
    assert record.verify(made, AFTER).complete_and_signed
    assert Trial(id="", result="", who="", when="", remark="") not in made.people.trials


class TestWorkings:
    """What is worked out once is what would be worked out each time."""

    def test_of_maps_from_files(self) -> None:
        for after in (AFTER, BEFORE):
            known = Workings(connection=after, judged=checks.judged_maps(after))
            found = verify_with(known, SIGNED, after)
            assert found == record.verify(SIGNED, after)
            assert found.points == record.points(SIGNED)

    def test_of_a_judgement_of_other_maps(self) -> None:
        known = Workings(connection=BEFORE, judged=checks.judged_maps(BEFORE))
        assert known.judged(BEFORE) is not None
        assert known.judged(AFTER) is None
        assert Workings().judged(AFTER) is None
        assert verify_with(known, SIGNED, AFTER) == record.verify(SIGNED, AFTER)

    def test_a_map_before_that_is_that_of_now(self) -> None:
        made = record.new(AFTER, AFTER)
        assert record.verify(made, AFTER).faults == ()
        text = made.computed.before[0].map.replace("safeframe-map/1", "safeframe-map/9")
        state = replace(made.computed.before[0], map=text)
        states = (state, *made.computed.before[1:])
        forged = replace(made, computed=replace(made.computed, before=states))
        with pytest.raises(InputError, match="before, in the record"):
            record.verify(forged, AFTER)


def test_the_connection_before_the_change_is_in_the_record() -> None:
    found = record.baseline(FRESH)
    assert [end.name for end in found.ends] == [end.name for end in BEFORE.ends]
    assert [(end.sends, end.receives) for end in found.ends] == [
        (end.sends, end.receives) for end in BEFORE.ends
    ]
