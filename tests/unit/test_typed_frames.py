"""Each protocol's own functions: the same answers as the generic ones, the same parameters."""

from __future__ import annotations

import inspect
from importlib import import_module
from types import ModuleType
from typing import Any, get_type_hints

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from safeframe import frame, protocols
from safeframe._errors import FrameError, UsageError
from tests.unit.frame_values import CASES, Case, every_case

ROOMS: dict[str, ModuleType] = {
    name: import_module(f"safeframe.protocols.{name.replace('-', '_')}")
    for name in protocols.names()
    if protocols.load(name).recipe
}
by_room = pytest.mark.parametrize("name", ROOMS)


def keywords(function: Any) -> dict[str, inspect.Parameter]:
    found = inspect.signature(function).parameters
    return {name: each for name, each in found.items() if each.kind is each.KEYWORD_ONLY}


@by_room
@pytest.mark.parametrize("verb", ["build", "verify", "inspect"])
def test_parameters_are_exactly_the_values(name: str, verb: str) -> None:
    """Same names in the same order, each a whole number, octets or one of the words."""
    function = getattr(ROOMS[name], verb)
    rules = frame.values(name)
    assert list(keywords(function)) == [rule.name for rule in rules]
    hints = get_type_hints(function)
    for rule in rules:
        kind: Any = bytes if rule.octets is not None else int
        if rule.words:
            assert hints[rule.name].__args__ == rule.words
        else:
            assert hints[rule.name] in (kind, kind | None)
    others = [each for each in inspect.signature(function).parameters if each not in hints]
    assert others == []
    assert (verb == "build") == ("octets" not in hints)


@by_room
def test_defaults_for_building_are_those_of_the_values(name: str) -> None:
    """Judging never assumes a value: there None, or no default, stands everywhere."""
    for rule in frame.values(name):
        stated = keywords(ROOMS[name].build)[rule.name].default
        if rule.default is not None:
            assert stated == rule.default
        else:
            assert stated in (None, inspect.Parameter.empty)
        for verb in ("verify", "inspect"):
            judged = keywords(getattr(ROOMS[name], verb))[rule.name].default
            assert judged is (inspect.Parameter.empty if rule.words else None)


@by_room
def test_every_parameter_is_explained(name: str) -> None:
    text = inspect.getdoc(ROOMS[name].build) or ""
    for rule in frame.values(name):
        meaning = " ".join(rule.meaning.split())
        assert f"``{rule.name}``: {meaning}" in " ".join(text.split())


@by_room
@settings(max_examples=15)  # Of each protocol; among those of all, one may not come at all.
@given(st.data())
def test_answers_are_those_of_the_generic_functions(name: str, data: st.DataObject) -> None:
    of, values, known = data.draw(CASES[name])
    assert of == name
    room = ROOMS[name]
    octets = frame.build(name, **values)
    assert room.build(**values) == octets
    assert room.verify(octets, **known) == frame.verify(name, octets, **known)
    assert room.inspect(octets, **known) == frame.inspect(name, octets, **known)
    spoilt = bytes((octets[0] ^ 0x40,)) + octets[1:]
    assert room.inspect(spoilt, **known) == frame.inspect(name, spoilt, **known)
    for judge in (room.verify, lambda octets, **known: frame.verify(name, octets, **known)):
        with pytest.raises(FrameError):
            judge(spoilt + b"\0", **known)


SESSIONS: dict[str, dict[str, Any]] = {
    "fscp-12-1": {"connection_id": 7},
    "fscp-13-1": {"domain": 3, "manager_id": bytes(range(6))},
    "en50325-5": {"identifier_1": 0x111, "mapped_octets": 2, "sct_ms": 50, "srvt_ms": 20},
    "fscp-2-1": {"format": "base", "producer": (1, 2, 3), "consumer": (4, 5, 6), "rollover": 9},
    "fscp-3-1": {"parameter_crc": 0x22FF},
    "opcua-safety": {"consumer_id": 1, "spdu_ids": (1, 2, 3), "start": 300},
}


def test_every_room_with_a_session_is_tried() -> None:
    assert {name for name in ROOMS if protocols.room(name).session} == set(SESSIONS)


@pytest.mark.parametrize("name", SESSIONS)
def test_sessions_take_the_settings_of_the_generic_ones(name: str) -> None:
    room = protocols.room(name)
    assert room.session is not None
    given = list(keywords(room.session.__init__))
    taken = keywords(ROOMS[name].session)
    assert list(taken) == given
    for word, parameter in keywords(room.session.__init__).items():
        assert taken[word].default == parameter.default, word
    assert set(SESSIONS[name]) == set(given) - {"fresh"}
    made = ROOMS[name].session(**SESSIONS[name], fresh=False)
    assert type(made) is type(frame.session(name, **SESSIONS[name])) is room.session
    with pytest.raises(UsageError, match=f"a session of {name}: "):
        frame.session(name, **SESSIONS[name], other=1)


class TestValuesGivenBesides:
    """A carried value that the receiver names MUST be the one the frame carries."""

    @given(every_case)
    def test_right_ones_are_accepted(self, case: Case) -> None:
        name, values, known = case
        octets = frame.build(name, **values)
        carried = frame.parse(name, octets, **known).values
        everything = {**carried, **known}
        assert frame.inspect(name, octets, **everything).accepted
        assert frame.verify(name, octets, **everything).values == carried

    @given(every_case)
    def test_wrong_ones_are_rejected(self, case: Case) -> None:
        name, values, known = case
        octets = frame.build(name, **values)
        carried = frame.parse(name, octets, **known).values
        for rule in frame.values(name):
            if rule.name not in carried or rule.words:
                continue
            value = carried[rule.name]
            if isinstance(value, int):
                other: Any = value + 1 if value < rule.most else value - 1
                if name == "fscp-12-1" and rule.name == "connection_id" and not value:
                    continue  # Reset and Session carry 0, whatever the id of the connection.
            else:
                other = value + b"\0"
            wrong = {**known, rule.name: other}
            seen = frame.inspect(name, octets, **wrong)
            assert not seen.accepted, rule.name
            assert seen.first is not None
            assert (seen.first.check, seen.first.result) == (rule.name, "failed")
            with pytest.raises(FrameError) as caught:
                frame.verify(name, octets, **wrong)
            assert caught.value.check == rule.name

    @pytest.mark.parametrize(
        ("name", "values", "wrong", "text"),
        [
            (
                "fscp-12-1",
                {"data": b"\1\2", "connection_id": 7},
                {"data": b"\1\3", "peer_crc0": 0, "sequence": 1},
                "data: data is 01 02, expected 01 03",
            ),
            (
                "fscp-12-1",
                {"data": b"\1\2", "connection_id": 7},
                {"command": 8, "peer_crc0": 0, "sequence": 1},
                "command: command is 54, expected 8",
            ),
            (
                "fscp-3-1",
                {"data": b"", "number": 1, "parameter_crc": 2},
                {"data": b"\1"},
                "data: data is empty, expected 01",
            ),
            (
                "fscp-3-1",
                {"data": b"\1", "number": 1, "parameter_crc": 2},
                {"data": b""},
                "data: data is 01, expected none",
            ),
            (
                "opcua-safety",
                {"consumer_id": 1, "monitoring_number": 256},
                {"data": b"\1"},
                "data: a request frame carries no data",
            ),
        ],
    )
    def test_texts(
        self, name: str, values: dict[str, Any], wrong: dict[str, Any], text: str
    ) -> None:
        octets = frame.build(name, **values)
        with pytest.raises(FrameError) as caught:
            frame.verify(name, octets, **{**values, **wrong})
        assert str(caught.value) == text

    def test_what_lies_under_the_manager_id_cannot_be_judged_without_it(self) -> None:
        octets = frame.build("fscp-13-1", data=b"\1", address=1, domain=2)
        seen = frame.inspect("fscp-13-1", octets, consecutive_time=0)
        last = seen.verdicts[-1]
        assert (last.check, last.title) == ("consecutive_time", "consecutive_time as given")
        assert (last.result, last.text) == (
            "unknown",
            "cannot be judged, because manager_id is not known",
        )
