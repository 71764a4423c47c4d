"""The history of a record: nothing is lost, and what is altered in the middle is found."""

from __future__ import annotations

import hashlib
import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from safeframe import record
from safeframe._errors import SafeframeError, UsageError
from safeframe.record import HistoryEntry, Record
from tests.unit.record_maps import AFTER, FRESH, SIGNED, TESTED, acts_of, data_of, with_acts

STEP = FRESH.computed.checklist[0].id


def faults(history: tuple[HistoryEntry, ...]) -> tuple[str, ...]:
    return record.assess(replace(SIGNED, history=history)).faults


class TestNothingIsLost:
    """Every act MUST add one entry at the end and leave all others as they were."""

    def test_a_failed_result_that_was_repeated(self) -> None:
        failed = record.done(
            TESTED, STEP, who="A. Berg", when="2026-03-01", result="failed", remark="stuck"
        )
        assert record.assess(failed).faults == (f"step {STEP} failed: stuck",)
        again = record.done(failed, STEP, who="B. Chen", when="2026-03-02", result="passed")
        assert record.assess(again).faults == ()
        results = [act for act in acts_of(again) if getattr(act, "step", "") == STEP]
        assert [(act.result, act.when, act.remark) for act in results[1:]] == [  # type: ignore[union-attr]
            ("failed", "2026-03-01", "stuck"),
            ("passed", "2026-03-02", ""),
        ]

    def test_the_reader_of_a_value_is_the_person_of_its_entry(self) -> None:
        first = record.fill(
            FRESH, "LX", who="A. Berg", when="d1", serial="1", checksum="A", expected="B"
        )
        one = record.fill(first, "LX", who="B. Chen", when="d2", expected="A")
        row = one.people.read_backs[1]
        assert (row.who, row.when, row.expected) == ("A. Berg, B. Chen", "d1, d2", "A")
        nobody = record.fill(one, "LX", checksum="C")
        assert (nobody.people.read_backs[1].who, nobody.people.read_backs[1].when) == ("", "")
        assert "read-back of LX: who, when" in record.assess(nobody).missing
        whole = record.fill(
            nobody, "LX", who="C. Dahl", when="d3", serial="1", checksum="A", expected="A"
        )
        assert (whole.people.read_backs[1].who, whole.people.read_backs[1].when) == (
            "C. Dahl",
            "d3",
        )
        taken = record.fill(whole, "LX", who="C. Dahl", when="d3", serial="")
        assert "read-back of LX: serial" in record.assess(taken).missing
        with pytest.raises(UsageError, match="must state one of serial, checksum, expected"):
            record.fill(FRESH, "LX", who="A. Berg", when="d1")

    def test_the_request(self) -> None:
        made = record.request(FRESH, who="A. Berg", when="d1", reason="another")
        assert made.people.request == replace(FRESH.people.request, reason="another")
        with pytest.raises(UsageError, match="must state a reason"):
            record.request(FRESH, who="A. Berg", when="d1")
        blank = record.request(FRESH, hazards=(" ",))
        assert record.assess(blank).missing[0].startswith("request: hazards")

    def test_an_empty_result_is_none(self) -> None:
        with pytest.raises(UsageError, match="not empty"):
            record.done(FRESH, STEP, who="x", when="y", result="")

    @given(st.data())
    def test_any_acts(self, data: st.DataObject) -> None:
        made: Record = TESTED
        for _ in range(data.draw(st.integers(1, 6))):
            before = made.history
            who = data.draw(st.sampled_from(("A. Berg", "a.berg", "C. Dahl", "")))
            act = data.draw(st.sampled_from(("fill", "done", "sign", "withdraw", "request")))
            try:
                made = _acted(made, act, who)
            except UsageError:
                continue
            assert made.history[:-1] == before
            assert record.loads(record.dumps(made)) == made
            found = record.assess(made)
            assert not any("altered" in text or "follow" in text for text in found.faults)


def _acted(made: Record, act: str, who: str) -> Record:
    if act == "fill":
        return record.fill(made, "LX", who=who, when="d", checksum="4F2A0011")
    if act == "done":
        return record.done(made, STEP, who=who, when="d", result="passed")
    if act == "sign":
        return record.sign(made, who=who, role="r", when="d")
    if act == "request":
        return record.request(made, who=who, when="d", reason="x")
    return record.withdraw(made, who, who="B. Chen", when="d", reason="x")


class Model:
    """What a person with a notebook would say about a record: the oracle of the next test."""

    def __init__(self) -> None:
        self.results = dict.fromkeys(FRESH.steps, "passed")
        self.values = {(end, key): "4F2A0011" for end in ("SC1", "LX") for key in ("is", "should")}
        self.unread: set[tuple[str, str]] = set()
        self.approved: dict[str, bool] = {}  # By compared name: is it about what stands now?

    def good(self) -> bool:
        return (
            all(result == "passed" for result in self.results.values())
            and not self.unread
            and all(self.values[end, "is"] == self.values[end, "should"] for end in ("SC1", "LX"))
        )

    def released(self) -> bool:
        return self.good() and len(self.approved) >= 2 and all(self.approved.values())

    def entered(self) -> None:
        self.approved = dict.fromkeys(self.approved, False)


PEOPLE = {"C. Dahl": "cdahl", "c.dahl": "cdahl", "D. Evans": "devans", "E. Frost": "efrost"}


@settings(max_examples=25, deadline=None)
@given(st.data())
@pytest.mark.no_cover
def test_forty_entries_against_a_notebook(data: st.DataObject) -> None:
    """After each of up to 40 acts the record MUST say what an independent model says."""
    model, made = Model(), TESTED
    for number in range(data.draw(st.integers(1, 40))):
        count = len(made.history)
        act = data.draw(st.sampled_from(("read", "try", "sign", "sign", "withdraw", "withdraw")))
        who = data.draw(st.sampled_from(sorted(PEOPLE)))
        when = f"day {number}"
        if act == "read":
            end = data.draw(st.sampled_from(("SC1", "LX")))
            key = data.draw(st.sampled_from(("is", "should")))
            text = data.draw(st.sampled_from(("4F2A0011", "4F2A0011", "0")))
            reader = data.draw(st.sampled_from(("A. Berg", "A. Berg", "")))
            value = {"checksum" if key == "is" else "expected": text}
            made = record.fill(made, end, who=reader, when=when, **value)
            model.values[end, key] = text
            model.unread = (model.unread - {(end, key)}) | ({(end, key)} if not reader else set())
            model.entered()
        elif act == "try":
            step = data.draw(st.sampled_from(FRESH.steps[:2]))
            result = data.draw(st.sampled_from(("passed", "passed", "failed")))
            made = record.done(made, step, who=who, when=when, result=result)
            model.results[step] = result
            model.entered()
        elif act == "sign":
            name = PEOPLE[who]
            allowed = model.good() and all(model.approved.values()) and name not in model.approved
            try:
                made = record.sign(made, who=who, role="r", when=when)
            except UsageError:
                assert not allowed
                continue
            assert allowed
            model.approved[name] = True
        else:
            try:
                made = record.withdraw(made, who, who="A. Berg", when=when, reason="x")
            except UsageError:
                assert PEOPLE[who] not in model.approved
                continue
            del model.approved[PEOPLE[who]]
        assert len(made.history) == count + 1
        found = record.assess(record.loads(record.dumps(made)))
        assert found.complete_and_signed is model.released()
        assert (found.faults == ()) is (
            all(result != "failed" for result in model.results.values())
            and all(model.values[end, "is"] == model.values[end, "should"] for end in ("SC1", "LX"))
            and all(model.approved.values())
        )


def read_back(made: Record) -> record.ReadBack:
    return next(one for one in made.people.read_backs if one.end == "SC1")


class TestAnotherDevice:
    """MUST: a checksum counts for the device that showed it, known by its serial number."""

    entry = {"who": "A. Berg", "when": "2026-03-04"}  # noqa: RUF012 - read only.

    @pytest.mark.parametrize("between", [(), ("-",), ("",)], ids=["at once", "dash", "nothing"])
    def test_its_checksum_is_read_anew(self, between: tuple[str, ...]) -> None:
        before = read_back(TESTED)
        assert before.matches
        made = TESTED
        for serial in (*between, "other 7"):
            made = record.fill(made, "SC1", serial=serial, **self.entry)
        found = read_back(made)
        assert (found.serial, found.checksum, found.expected) == ("other 7", "", before.expected)
        assert not found.matches
        assert record.assess(made).missing != record.assess(TESTED).missing
        assert read_back(record.fill(made, "SC1", checksum=before.checksum, **self.entry)).matches

    def test_both_at_once(self) -> None:
        stated = {"serial": "other 7", "checksum": read_back(TESTED).checksum}
        assert read_back(record.fill(TESTED, "SC1", **stated, **self.entry)).matches

    @pytest.mark.parametrize("typed", ["{0}", " {0} ", "-", ""])
    def test_the_same_number_is_the_same_device(self, typed: str) -> None:
        serial = typed.format(read_back(TESTED).serial)
        assert read_back(record.fill(TESTED, "SC1", serial=serial, **self.entry)).matches


class TestApprovals:
    def test_withdrawn_with_a_reason_and_given_anew(self) -> None:
        entry = {"who": "C. Dahl", "role": "safety engineer", "when": "2026-03-04"}
        withdrawn = record.withdraw(
            SIGNED, "c dahl", who="D. Evans", when="2026-03-04", reason="slip"
        )
        assert record.assess(withdrawn).missing == ("approvals: 1 of 2",)
        again = record.sign(withdrawn, **entry)
        assert record.verify(again, AFTER).complete_and_signed
        assert len(again.history) == len(SIGNED.history) + 2

    def test_nobody_to_withdraw(self) -> None:
        words = {"who": "D. Evans", "when": "d", "reason": "x"}
        with pytest.raises(UsageError) as caught:
            record.withdraw(SIGNED, "B. Chen", **words)
        assert str(caught.value) == (
            "the approval to withdraw must be that of C. Dahl or D. Evans, not of B. Chen"
        )
        with pytest.raises(UsageError, match="that of nobody: there is no approval, not of x"):
            record.withdraw(TESTED, "x", **words)
        twice = record.withdraw(SIGNED, "C. Dahl", **words)
        with pytest.raises(UsageError, match=r"must be that of D\. Evans, not of C\. Dahl"):
            record.withdraw(twice, "C. Dahl", **words)

    @pytest.mark.parametrize(
        ("act", "name", "text"),
        [
            ("sign", "who", ". -"),
            ("sign", "who", "\u3164"),
            ("sign", "role", " "),
            ("sign", "when", ""),
            ("withdraw", "who", ""),
            ("withdraw", "when", ""),
            ("withdraw", "reason", " "),
        ],
    )
    def test_what_must_be_stated(self, act: str, name: str, text: str) -> None:
        given = {"who": "X", "when": "d", name: text}
        message = f"must state {name}, not "
        if act == "sign":
            with pytest.raises(UsageError, match=message):
                record.sign(TESTED, **{"role": "r", **given})
        else:
            with pytest.raises(UsageError, match=message):
                record.withdraw(SIGNED, "C. Dahl", **{"reason": "r", **given})

    def test_what_was_withdrawn_must_be_an_approval_then(self) -> None:
        count = len(SIGNED.history)
        for number in (1, count + 1, count + 2, 0, -1, 10**9):
            act = record.WithdrawalAct(entry=number, reason="x", who="y", when="z")
            (fault,) = record.assess(with_acts(SIGNED, *acts_of(SIGNED), act)).faults
            assert fault == (
                f"entry {count + 1} withdraws entry {number}, which is no approval then"
            )

    def test_its_own_words_are_sealed(self) -> None:
        """Who, role and date MUST be covered by the approval's own seal."""
        for name in ("who", "role", "when"):
            data = data_of(SIGNED)
            data["history"][-1][name] += "x"
            found = record.verify(record.loads(json.dumps(data)), AFTER)
            assert found.faults[0].endswith("was altered: its seal does not fit it"), name

    @pytest.mark.parametrize(
        ("one", "two", "same"),
        [
            ("C. Dahl", "C.Dahl", True),
            ("C. Dahl", "c  dahl", True),
            ("C. Dahl", "C\u200b.\u00a0D\u034fahl\ufe0f", True),
            ("C. Dahl", "\uff23. \u2800D\u3164a\u180bhl\U000e0100", True),
            ("C. Dahl", "C-Dahl,", True),
            ("Stra\u00dfe", "STRASSE", True),
            ("e\u0301", "\u00c9", True),
            ("C. Dahl", "C. Dahl\u00b4", True),
            ("C. D'Ahl", "C. D`Ahl", True),
            ("C. D'Ahl", "C. D\u00b4Ahl", True),
            ("A. Berg-Dahl", "A. Berg\u2212Dahl", True),
            ("C. Dahl", "C. D\u00e1hl", False),
            ("C. Dahl", "D. Dahl", False),
            ("A. Berg 1", "A. Berg 2", False),
        ],
    )
    def test_names(self, one: str, two: str, same: bool) -> None:
        assert (record.person(one) == record.person(two)) is same

    @given(st.text(max_size=8))
    def test_a_name_is_compared_the_same_again(self, name: str) -> None:
        assert record.person(record.person(name)) == record.person(name)


class TestAlteredInTheMiddle:
    """A removed, moved or altered entry before the end MUST be found, whatever it is."""

    def test_seals_as_anybody_can_compute_them(self) -> None:
        previous = SIGNED.computed_sha256
        for entry in data_of(SIGNED)["history"]:
            seal = entry.pop("seal")
            assert entry["previous"] == previous
            text = json.dumps(entry, sort_keys=True, separators=(",", ":"))
            previous = hashlib.sha256(text.encode()).hexdigest()
            assert seal == previous

    @given(st.data())
    def test_any_character_of_any_entry(self, data: st.DataObject) -> None:
        edited = data_of(SIGNED)
        entry = data.draw(st.sampled_from(edited["history"]))
        key = data.draw(st.sampled_from(sorted(entry)))
        entry[key] = data.draw(st.sampled_from(list(_mutations(entry[key]))))
        try:
            made = record.loads(json.dumps(edited))
        except SafeframeError:
            return  # Refused, with its line.
        assert record.assess(made).faults

    @given(st.data())
    def test_any_entry_removed_moved_put_in_or_altered_and_sealed_anew(
        self, data: st.DataObject
    ) -> None:
        history = list(SIGNED.history)
        last = len(history) - 1
        at = data.draw(st.integers(0, last - 1))
        how = data.draw(st.sampled_from(("remove", "swap", "repeat", "forge", "cut")))
        if how == "remove":
            del history[at]
        elif how == "cut":
            del history[at : data.draw(st.integers(at + 1, last))]
        elif how == "swap":
            to = data.draw(st.integers(0, last).filter(lambda number: number != at))
            history[at], history[to] = history[to], history[at]
        elif how == "repeat":
            history.insert(at, history[data.draw(st.integers(0, last))])
        else:
            (forged,) = with_acts(
                replace(SIGNED, computed_sha256=history[at].previous),
                record.TrialAct(step=STEP, result="passed", who="x", when="y", remark=""),
            ).history
            history[at] = forged
        assert any("does not follow" in text for text in faults(tuple(history)))

    def test_words(self) -> None:
        history = SIGNED.history
        act = history[3].act
        assert isinstance(act, record.TrialAct)
        edited = replace(history[3], act=replace(act, who="X"))
        assert faults((*history[:3], edited, *history[4:])) == (
            f"entry 4 (passed: {STEP} by X, 2026-03-02) was altered: its seal does not fit it",
        )
        assert faults(history[1:])[0] == (
            "entry 1 (read-back of SC1 by A. Berg, 2026-03-02) does not follow the computed part: "
            "an entry before it was removed, or the entry is from another record"
        )
        assert faults((*history[:2], *history[3:]))[0] == (
            f"entry 3 (passed: {STEP} by B. Chen, 2026-03-02) does not follow entry 2: an entry "
            "was removed, put in, moved or altered here"
        )

    def test_what_it_does_not_show_is_said(self) -> None:
        """The tail cut off, or everything computed anew, is not found: ``verify`` says so."""
        withdrawn = record.withdraw(SIGNED, "C. Dahl", who="x", when="y", reason="z")
        cut = replace(withdrawn, history=withdrawn.history[:-1])
        forged = with_acts(SIGNED, *acts_of(SIGNED))
        left = "not judged: application_parameters at both ends (no end states it)"
        for made in (cut, forged):
            found = record.verify(made, AFTER)
            assert found.complete_and_signed
            assert found.notes == (
                f"history: {len(SIGNED.history)} entries, the last seal is {record.seal(SIGNED)}",
                record.LIMITS,
                left,
            )
        assert "the last entries cut off" in record.LIMITS
        assert "computed anew from some entry on" in record.LIMITS
        assert record.verify(with_acts(FRESH), AFTER).notes == (left,)

    def test_titles(self) -> None:
        untried = record.TrialAct(step="s", result="", who="", when="", remark="")
        assert record.title(untried) == "no result: s"
        assert record.title(FRESH.history[0].act) == "request"
        act = record.WithdrawalAct(entry=3, reason="x", who="y", when="")
        assert record.title(act) == "withdrawal of entry 3 by y"


def _mutations(value: Any) -> list[Any]:
    if value is None:
        return ["", "x"]
    if isinstance(value, list):
        return [value[1:], [*value, "x"], ["x"], None]
    if isinstance(value, int):
        return [value + 1, None]
    return [f"{value}x", value[:-1] if value else "y", f" {value}", value.swapcase() + "."]


class TestFiles:
    def test_an_update_only_adds(self, tmp_path: Path) -> None:
        path = tmp_path / "r.json"
        record.create(path, SIGNED)
        for other in (TESTED, FRESH, with_acts(SIGNED)):
            with pytest.raises(UsageError, match="must keep every entry that it holds"):
                record.update(path, lambda _, other=other: other)  # type: ignore[misc]
            assert record.load(path) == SIGNED
        assert record.update(path, lambda made: made) == SIGNED
