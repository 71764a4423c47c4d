"""What frames need from two maps, and what an exchange says of it."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from typing import Any

import pytest

from safeframe import fixtures
from safeframe._errors import UsageError
from safeframe._link import Link, link_of
from safeframe._model import Connection, End, Map
from safeframe.protocols.opcua_safety import _frame as opcua

from .links import CASES, ONE_WAY, end_with, make


@pytest.mark.parametrize("case", CASES, ids=str)
def test_sizes_are_those_of_frames(case: tuple[str, int, int, dict[str, Any]]) -> None:
    link = make(*case)
    session = link.session()
    for side in link.order:
        size = link.sent(side).size_octets
        data = bytes(range(1, size + 1))
        octets = link.produce(session, side, data, 128_000)
        assert len(octets) == link.sizes[side]
        assert link.data_of(octets) == (data if link.carries[side] else None)


def both(link: Link, change: Callable[[End], End]) -> Connection:
    first, second = link.connection.ends
    return Connection(first=change(first), second=change(second))


def without(name: str) -> Callable[[End], End]:
    return lambda end: dataclasses.replace(
        end, parameters=tuple(pair for pair in end.parameters if pair[0] != name)
    )


def test_ends_of_two_profiles_have_no_link() -> None:
    first, second = make("fscp-12-1", 2, 2, {}).connection.ends
    mixed = Connection(first=first, second=end_with(second, profile="fscp-3-1"))
    with pytest.raises(UsageError) as caught:
        link_of(mixed)
    assert str(caught.value) == "both ends must have one profile, not fscp-12-1 and fscp-3-1"


def test_maps_of_one_end_or_of_strangers_make_no_link() -> None:
    """What is read by maps that do not belong together says nothing of any connection."""
    connection = make(*CASES[0]).connection
    first, second = connection.ends
    with pytest.raises(UsageError, match=r"^the maps must be of two ends, not both of SC1 \("):
        link_of(Connection(first=first, second=first))
    for stranger in (
        Connection(first=first, second=dataclasses.replace(second, peer="LC1")),
        Connection(first=dataclasses.replace(second, peer="LC1"), second=first),
    ):
        with pytest.raises(UsageError, match=r"^the peer of LX \(.*\) must be SC1, not LC1$"):
            link_of(stranger)
    assert link_of(Connection(first=first, second=dataclasses.replace(second, peer=""))).names == (
        "SC1",
        "LX",
    )


def test_times() -> None:
    link = make("fscp-12-1", 2, 2, {})
    assert (link.tick_us, link.watchdog_us) == (12_000, 100_000)
    shorter = Connection(
        first=link.connection.first, second=end_with(link.connection.second, watchdog_ms=50)
    )
    assert link_of(shorter).watchdog_us == 50_000
    bare = both(link, lambda end: end_with(end, watchdog_ms=None, exchange_ms=None))
    assert link_of(bare).watchdog_us is None
    assert link_of(bare).tick_us == 10_000
    # The order of the ends changes no frame, whatever else is wrong with such maps.
    times = zip(bare.ends, (20, 30), strict=True)
    first, second = (end_with(each, exchange_ms=time) for each, time in times)
    for ends in ((first, second), (second, first)):
        assert link_of(Connection(first=ends[0], second=ends[1])).tick_us == 30_000


def test_names_and_order() -> None:
    link = make("opcua-safety", 0, 3, {})
    assert link.names == ("SC1", "LX")
    assert link.order == (0, 1)
    turned = Connection(first=link.connection.second, second=link.connection.first)
    assert link_of(turned).order == (1, 0)
    assert link_of(turned).carries == (True, False)


@pytest.mark.parametrize(
    ("profile", "change", "message"),
    [
        (
            "fscp-12-1",
            lambda end: dataclasses.replace(end, role="master"),
            "the roles must be master and slave for frames to be built, not 'master' and 'master'",
        ),
        (
            "fscp-12-1",
            lambda end: end_with(end, id=None),
            "SC1-LX must state a connection id for frames to be built",
        ),
        (
            "fscp-12-1",
            lambda end: dataclasses.replace(end, sends=Map(entries=end.sends.entries[:1])),
            "",
        ),
        (
            "fscp-13-1",
            lambda end: dataclasses.replace(end, address=None),
            "SC1 must state its address for frames to be built",
        ),
        (
            "fscp-13-1",
            without("domain"),
            "SC1 must state the parameter domain for frames to be built",
        ),
        (
            "fscp-3-1",
            without("parameter_crc"),
            "SC1 must state the parameter parameter_crc for frames to be built",
        ),
        (
            "opcua-safety",
            without("base_id"),
            "LX must state the parameter base_id for frames to be built",
        ),
    ],
)
def test_what_maps_may_lack(profile: str, change: Callable[[End], End], message: str) -> None:
    link = make(profile, 0 if profile == "opcua-safety" else 2, 2, {})
    changed = both(link, change)
    if not message:
        assert link_of(changed).sizes == (6, 6)
        return
    with pytest.raises(UsageError) as caught:
        link_of(changed)
    assert str(caught.value) == message


def test_illegal_sizes() -> None:
    with pytest.raises(UsageError) as caught:
        make("fscp-12-1", 3, 2, {})
    assert str(caught.value) == (
        "SC1 sends 3 octets, but data must be 1 or an even number of octets, not 3"
    )


def test_format_of_fscp_2_1() -> None:
    with pytest.raises(UsageError, match=r"^format must be base or extended"):
        make("fscp-2-1", 2, 0, {})
    with pytest.raises(UsageError, match=r"^safety data of SC1-LX must go one way"):
        make("fscp-2-1", 2, 2, {"format": "base"})


def test_profiles_without_frames() -> None:
    link = make("fscp-12-1", 2, 2, {})
    plain = both(link, lambda end: end_with(end, profile="plain"))
    with pytest.raises(UsageError, match=r"^the profile plain has no frames$"):
        link_of(plain)


def test_settings_replace_what_the_maps_say() -> None:
    link = make("fscp-12-1", 2, 2, {"connection_id": 9})
    assert link.settings == {"connection_id": 9}
    with pytest.raises(UsageError, match="a session of fscp-12-1"):
        make("fscp-12-1", 2, 2, {"colour": 9})


def test_no_manager_id() -> None:
    link = make("fscp-13-1", 2, 2, {})
    assert link.settings["manager_id"] == bytes.fromhex("0060650012ab")
    bare = link_of(both(link, without("manager_id")))
    assert bare.settings == {"domain": 0x101}


def test_service_frames_of_fscp_13_1_carry_no_process_data() -> None:
    link = make("fscp-13-1", 2, 2, {})
    octets = link.session().produce("35", data=b"\x01\x02", id=56, address=36)
    assert link.data_of(octets) is None


def test_fail_safe_data_are_what_the_frame_carries() -> None:
    link = make("fscp-12-1", 2, 2, {})
    octets = link.session().produce("master", data=b"\x01\x02", command=0x08)
    assert link.data_of(octets) == b"\x01\x02"


def test_structure_signature_is_computed_where_it_is_not_stated() -> None:
    link = make("opcua-safety", 0, 3, {})
    bare = both(link, without("structure_signature"))
    signature = opcua.structure_signature("Lift", [1] * 7 + [3, 3])
    ids = opcua.spdu_ids(
        base_id="72962b91-fa75-4ae6-8d28-b404dc7daf63",
        level=3,
        signature=signature,
        provider_id=0x3A2C01DB,
    )
    assert link_of(bare).settings["spdu_ids"] == ids
    odd = dataclasses.replace(
        bare.second,
        sends=Map(entries=(dataclasses.replace(bare.second.sends.signals[-1], width=7),)),
    )
    with pytest.raises(UsageError, match=r"because a signal has no OPC UA type$"):
        link_of(Connection(first=bare.first, second=odd))


WRONG_TYPES = [
    (case, name, value)
    for case in (*CASES, *ONE_WAY)
    for name in ("manager_id", "domain", "parameter_crc", "base_id", "provider_id", "srvt_ms")
    for value in ("x", "", -1, 1.5, True)
    if name in {key for key, _ in make(*case).connection.first.parameters}
]


@pytest.mark.parametrize(("case", "name", "value"), WRONG_TYPES, ids=str)
def test_parameters_of_another_type_are_refused_with_words(
    case: tuple[str, int, int, dict[str, Any]], name: str, value: Any
) -> None:
    """A map can hold them; whatever is asked of frames then MUST end in words, never in a fault."""
    ends = [
        dataclasses.replace(
            end,
            parameters=tuple((key, value if key == name else own) for key, own in end.parameters),
        )
        for end in make(*case).connection.ends
    ]
    wrong = Connection(first=ends[0], second=ends[1])
    kind = {"manager_id": "hexadecimal octets", "base_id": "a text"}.get(name, "an integer")
    fits = {"an integer": int, "a text": str}.get(kind)
    said = ""
    try:
        fixtures.make(link_of(wrong, **case[3]), "states", count=2)
    except UsageError as error:
        said = str(error)
    if type(value) is not fits and not (name == "manager_id" and value == ""):
        text = f"must state the parameter {name} as {kind}, not {value!r}"
        assert said.endswith(text)


def test_a_parameter_that_no_protocol_lists_is_nobodys_business() -> None:
    link = make(*ONE_WAY[0])
    first = link.connection.first
    more = dataclasses.replace(first, parameters=(*first.parameters, ("zone", "west")))
    assert link_of(Connection(first=more, second=link.connection.second)).settings == link.settings
