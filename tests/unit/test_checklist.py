"""The test checklist: which steps a change asks for, in which words, with which data."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from safeframe import _demo as demo
from safeframe import _mapfile as mapfile
from safeframe._bits import Place
from safeframe._checklist import GROUPS, ChecklistStep, checklist
from safeframe._codec import decode
from safeframe._model import Allowance, Connection, Map, Relation, Reserved, Signal
from tests.strategies import clean_connections


def site(files: dict[str, str]) -> Connection:
    first, second = (
        mapfile.loads(files[name], path=name) for name in ("sc1-lx.toml", "lx-sc1.toml")
    )
    return Connection(first=first, second=second)


BEFORE, AFTER = site(demo.before()), site(demo.after())
STEPS = checklist(BEFORE, AFTER)


def step(name: str, steps: tuple[ChecklistStep, ...] = STEPS) -> ChecklistStep:
    (found,) = (entry for entry in steps if entry.id == name)
    return found


def with_signal(connection: Connection, at: str, **fields: Any) -> Connection:
    """Change one signal of SC1 -> LX at both ends."""

    def edit(map_: Map) -> Map:
        return Map(
            entries=tuple(
                replace(entry, **fields) if str(entry.at) == at else entry for entry in map_.entries
            )
        )

    first, second = connection.ends
    return Connection(
        first=replace(first, sends=edit(first.sends)),
        second=replace(second, receives=edit(second.receives)),
    )


def test_the_brake_change() -> None:
    assert Counter(entry.group for entry in STEPS) == {
        "non-safe value": 2,
        "safe value": 2,
        "loss of communication": 2,
        "watchdog": 2,
        "power cycle": 2,
        "restart": 2,
        "other signal": 18,
        "wrong device": 1,
    }
    assert [entry.group for entry in STEPS] == sorted(
        (entry.group for entry in STEPS), key=list(GROUPS).index
    )
    assert len({entry.id for entry in STEPS}) == len(STEPS)


def test_the_non_safe_value() -> None:
    assert step("SC1.brake2_release.non-safe") == ChecklistStep(
        id="SC1.brake2_release.non-safe",
        group="non-safe value",
        direction="SC1 -> LX",
        signal="brake2_release",
        at="1.2",
        action="SC1: set brake2_release (Lift.Brake2Release) to 1 (holding brake 2 released), "
        "all others to their safe value",
        expect="LX: brake2_release (Drive.Brake2Release) reads 1 (holding brake 2 released), "
        "exactly the intended function acts, nothing else does",
        required=True,
        data="00 04",
    )


@pytest.mark.parametrize(
    ("name", "action", "expect"),
    [
        (
            "SC1.brake2_release.safe",
            "SC1: set brake2_release (Lift.Brake2Release) back to 0",
            "LX: brake2_release (Drive.Brake2Release) reads 0 and the function takes its safe "
            "state",
        ),
        (
            "SC1.brake2_release.loss",
            "with brake2_release at 1 (holding brake 2 released), interrupt the communication of "
            "SC1 and LX, then restore it",
            "LX: brake2_release (Drive.Brake2Release) reads 0 and the function takes its safe "
            "state; it stays there until it is asked for anew",
        ),
        (
            "SC1.brake2_release.watchdog",
            "with brake2_release at 1 (holding brake 2 released), delay the frames beyond the "
            "watchdog time (100 ms)",
            "LX: brake2_release (Drive.Brake2Release) reads 0 and the function takes its safe "
            "state within the time that the safety function permits; write the time down",
        ),
        (
            "SC1.speed_level.other",
            "SC1: toggle speed_level (Lift.SpeedLevel) once, each of its 2 bits",
            "LX: speed_level (Drive.SpeedLevel) acts as before; no reaction of brake2_release, "
            "brake2_applied",
        ),
        (
            "wrong-device",
            "connect in the place of LX a device of the same kind with another connection id than "
            "263 or address",
            "SC1 accepts none of its frames, every output stays at its safe value",
        ),
    ],
)
def test_words(name: str, action: str, expect: str) -> None:
    assert (step(name).action, step(name).expect) == (action, expect)


def test_only_what_cannot_be_shown_otherwise_is_required() -> None:
    assert {entry.group for entry in STEPS if entry.required} == {"non-safe value", "other signal"}


def test_every_code_point_is_a_step() -> None:
    steps = checklist(AFTER, with_signal(AFTER, "1.0", safe=1))
    names = [entry.id for entry in steps if entry.group == "non-safe value"]
    assert names == [f"SC1.speed_level.non-safe-{value}" for value in (0, 2, 3)]
    assert step(names[1], steps).data == "00 02"


def test_a_number_is_tried_bit_by_bit() -> None:
    codes: dict[str, Any] = {"type": "uint", "codes": ()}
    found = step("SC1.speed_level.non-safe", checklist(AFTER, with_signal(AFTER, "1.0", **codes)))
    assert found.action == (
        "SC1: change each of the 2 bits of speed_level (Lift.SpeedLevel) once, one at a time, all "
        "other signals at their safe value"
    )
    assert found.expect == (
        "LX: speed_level (Drive.SpeedLevel) follows with the same number each time, nothing else "
        "does"
    )
    assert (found.required, found.data) == (True, "")


@pytest.mark.parametrize(
    ("edge", "words"),
    [
        ("rising", "; holding it, or finding it set at start, acts no second time"),
        ("falling", "; only releasing it acts, and once"),
        ("both", "; each change acts once"),
        ("", ", nothing else does"),
    ],
)
def test_edges(edge: str, words: str) -> None:
    changed = with_signal(AFTER, "0.7", edge=edge, one_means="x")
    found = step("SC1.fault_ack.non-safe", checklist(AFTER, changed))
    assert found.expect.endswith(words)


def test_a_removed_signal() -> None:
    steps = checklist(AFTER, BEFORE)
    assert step("SC1.brake2_release.removed", steps) == ChecklistStep(
        id="SC1.brake2_release.removed",
        group="removed",
        direction="SC1 -> LX",
        signal="brake2_release",
        at="1.2",
        action="SC1: do what used to set brake2_release (1.2, bool, 1 bit)",
        expect="LX: nothing reacts",
    )
    assert step("SC1.permit_up.other", steps).expect == (
        "LX: permit_up (Drive.PermitUp) acts as before"
    )


def test_a_new_binding_at_one_end_is_tried() -> None:
    entries = tuple(
        replace(entry, bind="Drive.Other") if str(entry.at) == "0.4" else entry
        for entry in AFTER.second.receives.entries
        if isinstance(entry, Signal)
    )
    changed = replace(AFTER, second=replace(AFTER.second, receives=Map(entries=entries)))
    assert step("SC1.permit_up.non-safe", checklist(AFTER, changed)).expect.startswith(
        "LX: permit_up (Drive.Other) reads 1"
    )


def test_another_name_at_the_consumer_is_tried() -> None:
    second = with_signal(AFTER, "0.4", name="raise").second
    changed = Connection(first=AFTER.first, second=second)
    assert step("SC1.permit_up.non-safe", checklist(AFTER, changed)).expect.startswith(
        "LX: raise (Drive.PermitUp) reads 1"
    )


def test_what_nobody_reads_or_binds() -> None:
    first = with_signal(AFTER, "1.2", bind="").first
    changed = Connection(first=first, second=BEFORE.second)
    found = step("SC1.brake2_release.non-safe", checklist(BEFORE, changed))
    assert found.action.startswith("SC1: set brake2_release (not bound) to 1")
    assert found.expect.startswith("LX: brake2_release (not read) reads 1")


def test_one_name_twice_still_gives_two_steps() -> None:
    steps = checklist(AFTER, with_signal(AFTER, "0.6", name="brake2_release"))
    names = [entry.id for entry in steps if entry.group == "safe value"]
    assert names == ["SC1.brake2_release.safe", "SC1.brake2_release.safe-2"]


def test_many_changed_signals_are_not_all_named() -> None:
    def with_all(connection: Connection) -> Connection:
        for bit in range(7):
            connection = with_signal(connection, f"0.{bit}", edge="both")
        return connection

    found = step("SC1.fault_ack.other", checklist(AFTER, with_all(AFTER)))
    assert found.expect.endswith(
        "; no reaction of permit_torque, permit_no_ss1, permit_no_sos, permit_no_sls, permit_up, "
        "permit_down and 1 more"
    )


def test_relations_are_put_to_the_test() -> None:
    relation = Relation(
        name="brake needs torque",
        when=(("brake2_release", (1,)),),
        requires=(("permit_torque", (1,)),),
        reason="the load would drop",
    )
    after = replace(AFTER, first=replace(AFTER.first, relations=(relation,)))
    found = step("SC1.brake needs torque.relation", checklist(BEFORE, after))
    assert found.action == (
        "SC1: try to break the rule brake2_release = 1 requires permit_torque = 1"
    )
    assert found.expect == "it cannot be broken (the load would drop)"


def timed(
    connection: Connection, *, first: int | None = 100, second: int | None = 100
) -> Connection:
    """Return the connection with another watchdog at each end, and without an id."""
    ends = (
        replace(end, connection_table=replace(end.connection_table, watchdog_ms=time, id=None))
        for end, time in zip(connection.ends, (first, second), strict=True)
    )
    return Connection(first=next(ends), second=next(ends))


@pytest.mark.parametrize("times", [{"first": 200, "second": 200}, {"first": 50}, {"second": None}])
def test_a_new_watchdog_is_tried_in_both_directions(times: dict[str, int | None]) -> None:
    steps = checklist(timed(AFTER), timed(AFTER, **times))
    assert Counter(entry.group for entry in steps) == {
        "watchdog": 2,
        "other signal": 20,
        "wrong device": 1,
    }
    assert step("wrong-device", steps).action.endswith("with another connection id or address")
    late = [(entry.id, entry.data) for entry in steps if entry.group == "watchdog"]
    assert late == [("SC1.permit_torque.watchdog", "01 00"), ("LX.torque_off.watchdog", "01 00")]


def test_an_id_asks_for_no_watchdog() -> None:
    steps = checklist(AFTER, timed(AFTER))
    assert {entry.group for entry in steps} == {"other signal", "wrong device"}


def test_a_new_watchdog_with_a_changed_signal_is_tried_with_that() -> None:
    """The other direction has none that changed; one without signals has nothing to hold."""
    after = timed(with_signal(AFTER, "0.4", one_means="up"), first=200, second=200)
    late = [entry.id for entry in checklist(timed(AFTER), after) if entry.group == "watchdog"]
    assert late == ["SC1.permit_up.watchdog", "LX.torque_off.watchdog"]
    first, second = after.ends
    alone = Connection(first=replace(first, sends=Map()), second=replace(second, receives=Map()))
    old = timed(alone)
    late = [entry.id for entry in checklist(old, alone) if entry.group == "watchdog"]
    assert late == ["LX.torque_off.watchdog"]


def test_a_time_may_be_a_parameter() -> None:
    """The safeguard cycle time of EN 50325-5 is one; another parameter is none."""

    def ends(sct: int, vendor: int) -> Connection:
        given = {"sct_ms": sct, "vendor_id": vendor}
        parameters: Any = tuple(sorted(given.items()))
        first, second = (
            replace(
                end,
                connection_table=replace(
                    end.connection_table, profile="en50325-5", watchdog_ms=None
                ),
                parameters=parameters,
            )
            for end in AFTER.ends
        )
        return Connection(first=first, second=second)

    def groups(after: Connection) -> set[str]:
        return {entry.group for entry in checklist(ends(20, 1), after)}

    assert "watchdog" in groups(ends(40, 1))
    assert "watchdog" not in groups(ends(20, 2))


def test_a_number_has_no_one_value_to_be_late_with() -> None:
    """Where no signal has a value of its own to try, the first one is named."""
    number = Signal(name="speed", at=Place(0, 0), width=16, type="uint")
    first, second = AFTER.ends
    only = Connection(
        first=replace(first, sends=Map(entries=(number,)), receives=Map()),
        second=replace(second, receives=Map(entries=(number,)), sends=Map()),
    )
    (late,) = (
        entry
        for entry in checklist(timed(only), timed(only, first=200, second=200))
        if entry.group == "watchdog"
    )
    assert (late.id, late.data) == ("SC1.speed.watchdog", "")
    assert late.action == ("with speed at work, delay the frames beyond the watchdog time (200 ms)")


def test_without_a_watchdog_time_none_is_named() -> None:
    def silent(connection: Connection) -> Connection:
        first, second = (
            replace(end, connection_table=replace(end.connection_table, watchdog_ms=None))
            for end in connection.ends
        )
        return Connection(first=first, second=second)

    found = step("SC1.brake2_release.watchdog", checklist(silent(BEFORE), silent(AFTER)))
    assert found.action.endswith("delay the frames beyond the watchdog time")


def test_remarks_and_allowances_ask_for_nothing() -> None:
    allowance = Allowance(rule="hole", reason="old")
    remarked = with_signal(AFTER, "0.4", note="x", mirrors="y")
    first = replace(remarked.first, note="x", allowances=(allowance,))
    assert checklist(AFTER, Connection(first=first, second=remarked.second)) == ()
    assert checklist(AFTER, AFTER) == ()


class TestEveryBitIsDriven:
    """After any added signal, every bit that is used MUST have a required step."""

    @given(clean_connections(), st.data())
    def test_added(self, after: Connection, data: st.DataObject) -> None:
        number = data.draw(st.integers(0, len(after.first.sends.entries) - 1))

        def without(map_: Map) -> Map:
            entries = list(map_.entries)
            entry = entries[number]
            entries[number] = Reserved(at=entry.at, width=entry.width)
            return Map(entries=tuple(entries))

        before = Connection(
            first=replace(after.first, sends=without(after.first.sends)),
            second=replace(after.second, receives=without(after.second.receives)),
        )
        steps = checklist(before, after)
        entry = after.first.sends.entries[number]
        if isinstance(entry, Reserved):
            assert steps == ()
            return
        for direction in after.directions():
            required = {
                found.signal
                for found in steps
                if found.required and found.direction == direction.name
            }
            assert required == {signal.name for signal in direction.sent.signals}
        for found in steps:
            if found.data and found.direction == "SC1 -> LX":
                readings = decode(after.second.receives, bytes.fromhex(found.data))
                driven = [] if found.group == "safe value" else [found.signal]
                assert [name for name, got in readings.items() if not got.is_safe] == driven


def test_a_place_is_written_as_a_run() -> None:
    assert step("SC1.speed_level.other").at == "1.0-1.1"
    assert Place.parse(step("SC1.permit_up.other").at) == Place(0, 4)


class TestFeedback:
    """What reports does not act: its steps say so."""

    def test_what_the_answering_end_sends(self) -> None:
        driven = step("LX.brake2_applied.non-safe")
        assert driven.action == (
            "LX: bring about what makes brake2_applied (Drive.Brake2Applied) report 1 (holding "
            "brake 2 is applied), with all others at their safe value"
        )
        assert driven.expect == (
            "SC1: brake2_applied (Lift.Back.Brake2Applied) reads 1 (holding brake 2 is applied), "
            "what waits for this report may go on, nothing moves by the report alone"
        )
        assert step("LX.brake2_applied.safe").expect.endswith(
            "reads 0 and what needs this report stops or does not start"
        )
        assert step("SC1.brake2_release.safe").expect.endswith(
            "reads 0 and the function takes its safe state"
        )
        assert " is taken as before" in step("LX.torque_off.other").expect

    def test_a_bit_that_mirrors_another(self) -> None:
        first, second = AFTER.ends
        plain = [
            replace(end, role="", connection_table=replace(end.connection_table, profile="x"))
            for end in (first, second)
        ]
        told = checklist(BEFORE, Connection(first=plain[0], second=plain[1]))
        assert step("LX.brake2_applied.safe", told).expect.endswith("takes its safe state")
        echo = with_signal(
            Connection(first=plain[0], second=plain[1]), "1.2", mirrors="brake2_applied"
        )
        told = checklist(BEFORE, echo)
        assert step("SC1.brake2_release.safe", told).expect.endswith("or does not start")
