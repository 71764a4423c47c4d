"""EN 50325-5: pairs of messages, identifiers, times, the configuration checksum, both ends."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from safeframe import _checks as checks
from safeframe import _cli as cli
from safeframe import _mapfile as mapfile
from safeframe import frame
from safeframe._errors import FrameError, UsageError
from safeframe._model import Connection
from safeframe.importing import (
    Decisions,
    DeviceFile,
    Identity,
    Imported,
    compare,
    find_format,
    imported,
)
from safeframe.protocols import en50325_5, load
from tests import second

NAME = "en50325-5"
OTHER = "identifier_1: identifier_1 is 0x109,"
GOOD = en50325_5.build(data=bytes.fromhex("34125a"), node=5)


def failing(octets: bytes, **known: Any) -> str:
    if not known.keys() & {"identifier_1", "node"}:
        known["node"] = 5
    known = {name: value for name, value in known.items() if value is not None}
    with pytest.raises(FrameError) as caught:
        en50325_5.verify(octets, **known)
    return str(caught.value)


class TestPairs:
    @given(st.binary(max_size=8), st.integers(1, 64))
    def test_the_second_message_is_the_first_inverted(self, data: bytes, node: int) -> None:
        """Every bit of the second message MUST be the inverse; identifiers follow from the node."""
        octets = en50325_5.build(data=data, node=node)
        assert octets == second.pair_en(data, 0xFF + 2 * node, 0x100 + 2 * node)
        parsed = en50325_5.verify(octets, node=node, data=data, mapped_octets=len(data))
        assert dict(parsed.values) == {
            "data": data,
            "identifier_1": 0xFF + 2 * node,
            "identifier_2": 0x100 + 2 * node,
        }

    @given(st.binary(min_size=1, max_size=8), st.data())
    def test_a_single_flipped_bit_is_found(self, data: bytes, draw: st.DataObject) -> None:
        octets = bytearray(en50325_5.build(data=data, identifier_1=0x111))
        place = draw.draw(st.integers(0, len(octets) - 1))
        octets[place] ^= 1 << draw.draw(st.integers(0, 7))
        assert not en50325_5.inspect(bytes(octets), identifier_1=0x111).accepted

    def test_the_printed_pair(self) -> None:
        assert GOOD.hex(" ") == "01 09 03 34 12 5a 01 0a 03 cb ed a5"

    def test_a_longer_message_is_accepted_and_the_surplus_ignored(self) -> None:
        longer = bytes.fromhex("0109043412 5aff 010a03cbeda5")
        assert en50325_5.verify(longer, node=5, mapped_octets=3).data.hex() == "34125a"
        assert failing(longer) == "too_short: message 2 has 3 octets, 4 are mapped"
        assert en50325_5.verify(GOOD, node=5, mapped_octets=2).data.hex() == "3412"

    @pytest.mark.parametrize(
        ("text", "known", "message"),
        [
            ("0109", {}, "the length must be at least 3 octets, not 2"),
            ("010900", {}, "complete: cannot be judged, because the inverted message is not there"),
            ("010a00", {}, "inverted: cannot be judged, because plain is not known"),
            ("010a01ca", {"plain": b"4"}, "inverted: octet 0 is 0x34, its copy 0xCA and not 0xCB"),
            ("010a00", {"plain": b"4"}, "too_short: message 2 has 0 octets, 1 are mapped"),
            (
                "010c00",
                {"plain": b""},
                "identifier_2: identifier_2 is 0x10C, expected 0x10A, the d",
            ),
            (
                "010a00",
                {"plain": b"", "identifier_1": 0x10B},
                "identifier_2: identifier_2 is 0x10A, expected 0x10C",
            ),
            (
                "010a00",
                {"plain": b"", "identifier_1": 0x10B, "node": 5},
                "identifier_1: identifier_1 would be 0x109, expected 0x10B",
            ),
            (
                "010900",
                {"identifier_1": 0x109, "identifier_2": 0x10C},
                "identifier_2: identifier_2 would be 0x10A, expected 0x10C",
            ),
            (
                "010900",
                {"identifier_2": 0x10C, "node": None},
                "identifier_1: identifier_1 is 0x109, expected 0x10B",
            ),
            (
                "018200",
                {"plain": b""},
                "identifiers: the first identifier must be odd, 0x101..0x17F",
            ),
            ("010900010a", {}, "the length must be at least 6 octets, not 5"),
            ("010909", {}, "the length of message 1 must be 0..8, not 9"),
            ("010900010a01", {}, "the length must be 7 octets by the two messages, not 6"),
            ("010a00010b00", {}, "identifiers: the first identifier must be odd, 0x101..0x17F, "),
            ("018100018200", {}, "identifiers: the first identifier must be odd, 0x101..0x17F, "),
            ("010900010c00", {}, "identifiers: the second identifier must be 0x10A, one more, "),
            (
                "010900010a00",
                {"identifier_1": 0x10B},
                "identifier_1: identifier_1 is 0x109, expected 0x10B",
            ),
            ("010900010a00", {"identifier_2": 0x10C}, "identifier_2: identifier_2 is 0x010A, "),
            (
                "010900010a00",
                {"node": 6},
                "identifier_1: identifier_1 is 0x109, expected 0x10B, the def",
            ),
            ("010900010a00", {"mapped_octets": 1}, "too_short: message 1 has 0 octets, 1 are map"),
            ("01090134010a01ca", {}, "inverted: octet 0 is 0x34, its copy 0xCA and not 0xCB"),
        ],
    )
    def test_refused(self, text: str, known: dict[str, int], message: str) -> None:
        assert failing(bytes.fromhex(text), **known).startswith(message)

    @pytest.mark.parametrize(
        ("measured", "limit"), [("cycle_ms", "sct_ms"), ("validation_ms", "srvt_ms")]
    )
    def test_times(self, measured: str, limit: str) -> None:
        name = limit.removesuffix("_ms")
        right: dict[str, Any] = {measured: 20, limit: 20}
        assert en50325_5.verify(GOOD, node=5, **right)
        late = failing(GOOD, **{measured: 21, limit: 20})
        assert late.startswith(f"{name}: the time ")
        assert late.endswith(" took 21 ms, 20 ms are allowed")
        for given_, lacks in (({measured: 1}, limit), ({limit: 1}, measured)):
            assert failing(GOOD, **given_) == (
                f"{name}: cannot be judged, because {lacks} is not known"
            )

    @pytest.mark.parametrize(
        ("values", "message"),
        [
            ({"data": bytes(9), "node": 1}, "data must be 0..8 octets, not 9"),
            ({"data": b""}, "building this frame needs the value identifier_1 or node"),
            (
                {"data": b"", "identifier_1": 0x102},
                "the first identifier must be odd, 0x101..0x17F",
            ),
            (
                {"data": b"", "identifier_1": 0x181},
                "the first identifier must be odd, 0x101..0x17F",
            ),
            (
                {"data": b"", "node": 1, "identifier_2": 0x101},
                "the second identifier must be 0x102",
            ),
            ({"data": b"", "node": 65}, "node must be 1..64, not 65"),
        ],
    )
    def test_impossible(self, values: dict[str, Any], message: str) -> None:
        with pytest.raises(UsageError) as caught:
            en50325_5.build(**values)
        assert str(caught.value).startswith(message)

    def test_whose_pair_it_is_must_be_known(self) -> None:
        seen = en50325_5.inspect(GOOD)
        assert seen.summary == ("cannot be judged, because identifier_1 and node are not known")

    def test_parts_are_named(self) -> None:
        seen = frame.inspect(NAME, GOOD, node=5, identifier_1=0x109)
        assert seen.accepted
        assert seen.covers == ()
        assert [part.meaning for part in seen.parts] == [
            "identifier 0x109 of the plain message",
            "3 data octets",
            "safety data",
            "identifier 0x10A of the inverted message",
            "3 data octets",
            "the same octets, every bit inverted",
        ]

    def test_one_message_alone(self) -> None:
        """A plain one is half a pair; an inverted one is judged by the plain data before it."""
        plain, inverted = GOOD[:6], GOOD[6:]
        seen = en50325_5.inspect(plain, node=5)
        assert (seen.kind, seen.accepted, seen.values["data"].hex()) == ("plain", False, "34125a")
        assert [part.name for part in seen.parts] == ["identifier_1", "length_1", "data"]
        parsed = en50325_5.verify(inverted, node=5, plain=bytes.fromhex("34125a"))
        assert (parsed.kind, parsed.data.hex()) == ("inverted", "34125a")
        whole: tuple[dict[str, Any], ...] = {"identifier_1": 0x109}, {"identifier_2": 0x10A}
        for known in whole:
            seen = en50325_5.inspect(inverted, plain=b"\x34\x12\0", mapped_octets=2, **known)
            assert (seen.accepted, seen.values["data"].hex()) == (True, "3412")

    def test_a_session_needs_its_identifier(self) -> None:
        with pytest.raises(UsageError, match=r"a session of en50325-5: .*identifier_1"):
            frame.session(NAME)


class TestChecksum:
    PRINTED = "60100108 60110108 60100208 60110208"

    def test_step_by_step(self, capsys: pytest.CaptureFixture[str]) -> None:
        """The worked example of a device manual."""
        values = ("direction=receive", "sct_ms=50", "srvt_ms=20", "identifier_1=0x111")
        command = ("frame", "derive", "configuration-checksum", *values, "identifier_2=0x112")
        assert cli.main([*command, f"entries={self.PRINTED}"]) == 0
        shown = capsys.readouterr().out.splitlines()
        assert shown[0] == "checksum 0x4370"
        assert shown[1:4] == ["direction 02", "sct_ms 32 00", "srvt_ms 14"]
        assert shown[-2:] == ["sub-index of entry 4 04", "entry 4 08 02 11 60"]
        covered = en50325_5.steps(
            direction="receive",
            sct_ms=50,
            srvt_ms=20,
            identifier_1=0x111,
            identifier_2=0x112,
            entries=en50325_5.entries_of(self.PRINTED),
        )
        assert b"".join(part for _, part in covered).hex() == (
            "023200141101000012010000040108011060020801116003080210600408021160"
        )
        assert [what for what, _ in covered][:7] == [
            "direction",
            "sct_ms",
            "srvt_ms",
            "identifier_1",
            "identifier_2",
            "number of entries",
            "sub-index of entry 1",
        ]
        assert cli.main([*command, "entries=60100108"]) == 0
        assert "note the number of entries must be even" in capsys.readouterr().out

    def test_the_identifiers_of_a_node(self, capsys: pytest.CaptureFixture[str]) -> None:
        assert cli.main(["frame", "derive", "default-identifiers", "node=5"]) == 0
        assert capsys.readouterr().out == "identifier_1 0x109\nidentifier_2 0x10A\n"

    @given(st.lists(st.integers(0, 0xFFFFFFFF), max_size=16), st.sampled_from(("send", "receive")))
    def test_second_implementation(self, words: list[int], direction: str) -> None:
        text = " ".join(f"{word:08x}" for word in words)
        values: dict[str, Any] = {"direction": direction, "sct_ms": 300, "srvt_ms": 7}
        values |= {"identifier_1": 0x111, "identifier_2": 0x112}
        entries = en50325_5.entries_of(text)
        assert [entry.value for entry in entries] == words
        made = en50325_5.checksum(en50325_5.steps(**values, entries=entries))
        assert made == second.checksum_en(**values, entries=text)

    def test_it_differs_by_direction(self) -> None:
        """The checksums of the two ends differ by design."""
        found = {
            second.checksum_en(word, 50, 20, 0x111, 0x112, self.PRINTED)
            for word in ("send", "receive")
        }
        assert len(found) == 2

    @pytest.mark.parametrize(
        ("change", "message"),
        [
            ({"direction": "off"}, "direction must be send or receive, not 'off'"),
            ({"sct_ms": 65536}, "sct_ms must be 0..65535, not 65536"),
            ({"srvt_ms": 256}, "srvt_ms must be 0..255, not 256"),
        ],
    )
    def test_refused(self, change: dict[str, Any], message: str) -> None:
        values: dict[str, Any] = {"direction": "send", "sct_ms": 1, "srvt_ms": 1}
        values |= {"identifier_1": 0x111, "identifier_2": 0x112, "entries": ()}
        with pytest.raises(UsageError) as caught:
            en50325_5.steps(**values | change)
        assert str(caught.value) == message

    def test_a_node_has_a_number(self) -> None:
        with pytest.raises(UsageError, match=r"^node must be 1\.\.64, not 65$"):
            en50325_5.default_identifiers(65)

    @pytest.mark.parametrize("text", ["6010010", "601001080", "6010010x"])
    def test_entries_are_eight_digits(self, text: str) -> None:
        with pytest.raises(UsageError, match=f"must be 8 hexadecimal digits, not '{text}'"):
            en50325_5.entries_of(text)

    @pytest.mark.parametrize(
        ("text", "message"),
        [
            ("0x60100108, 0x60110108", ""),
            ("60100108", "the number of entries must be even and at most 16, not 1"),
            (" ".join(["60100108"] * 18), "the number of entries must be even and at most 16, not"),
            ("60100108 60110110", "entries 1 and 2 must have one length, not 8 and 16 bits"),
            ("60100108 60110108 60100101 60110101", "entry 3 must have whole octets, not 1 bits"),
            ("60100140 60110140 60100108 60110108", "the plain entries must have at most 64 bits"),
        ],
    )
    def test_mappings(self, text: str, message: str) -> None:
        found = en50325_5.mapping_problem(en50325_5.entries_of(text))
        assert found.startswith(message)
        assert bool(found) is bool(message)


PARAMETERS: dict[str, Any] = {
    "identifier_1": 273,
    "identifier_2": 274,
    "srvt_ms": 20,
    "sct_ms": 25,
    "mapping": "60000108 60010108",
}


def connection(first: dict[str, Any], other: dict[str, Any], head: str = "") -> Connection:
    """Return a sender and a receiver with these parameters besides the usual ones."""
    ends = []
    for name, peer, key, changes in (
        ("SC1", "LX", "sends", first),
        ("LX", "SC1", "receives", other),
    ):
        stated = {k: v for k, v in (PARAMETERS | changes).items() if v is not None}
        shown = ", ".join(f"{k} = {v!r}".replace("'", '"') for k, v in stated.items())
        text = (
            'format = "safeframe-map/1"\n'
            f'connection = {{ name = "SC1-LX", profile = "{NAME}", watchdog_ms = 25{head} }}\n'
            f'end = {{ name = "{name}", peer = "{peer}" }}\n'
            f"parameters = {{ {shown} }}\n"
            f'{key} = [ {{ at = "0.0", name = "run", bind = "x" }}, '
            '{ at = "0.1", reserved = 7 } ]\n'
        )
        ends.append(mapfile.loads(text, path=f"{name.lower()}.toml"))
    return Connection(first=ends[0], second=ends[1])


def found(first: dict[str, Any], other: dict[str, Any]) -> list[str]:
    other = dict(other)
    head = other.pop("head", "")
    report = checks.check(connection(first, other, head))
    return [each.message for each in report.findings if each.rule.startswith("parameter")]


class TestEnds:
    def test_ends_that_fit(self) -> None:
        sums = [
            second.checksum_en(word, 25, 20, 273, 274, PARAMETERS["mapping"])
            for word in ("send", "receive")
        ]
        assert found({"checksum": sums[0]}, {"checksum": sums[1]}) == []
        # The objects may be others, as long as their lengths are the same.
        assert found({}, {"mapping": "62000108 62010108"}) == []
        assert found({"sct_ms": 20}, {}) == []
        assert found({"mapping": None}, {}) == []
        assert found({"sct_ms": None}, {"mapping": None}) == []

    @pytest.mark.parametrize(
        ("first", "other", "message"),
        [
            (
                {"sct_ms": 26},
                {},
                "SC1 repeats its data every 26 ms at the latest, LX waits 25 ms only",
            ),
            ({}, {"sct_ms": 50}, "LX: the SCT of the receiver is 50 ms, its watchdog 25 ms"),
            (
                {"checksum": 1},
                {},
                "SC1: the checksum is 0x0001, but from the parameters follows 0x",
            ),
            (
                {"mapping": "60000110 60010110"},
                {},
                "SC1: the plain entries of the mapping have 16 bits, the map 8",
            ),
            (
                {"mapping": "60000108 60010108 60000210 60010210 60000308 60010308"},
                {},
                "SC1: the plain entries of the mapping have 32 bits, the map 8",
            ),
            ({"mapping": "x"}, {}, "SC1: a mapping entry must be 8 hexadecimal digits, not 'x'"),
            ({"mapping": "60000108"}, {}, "SC1: the number of entries must be even and at most 16"),
            (
                {"identifier_1": 275},
                {"identifier_1": 275},
                "SC1: the second identifier must be 0x114",
            ),
            ({"srvt_ms": 10}, {}, "the parameter srvt_ms is "),
            ({"sct_ms": 0}, {}, "SC1: sct_ms must be longer than 0 ms: within 0 ms no message"),
            ({"srvt_ms": 0}, {"srvt_ms": 0}, "LX: srvt_ms must be longer than 0 ms"),
            (
                {"sct_ms": 20},
                {"head": ", exchange_ms = 21"},
                "SC1: the exchange time is 21 ms, longer than the SCT of 20 ms",
            ),
        ],
    )
    def test_ends_that_do_not(
        self, first: dict[str, Any], other: dict[str, Any], message: str
    ) -> None:
        texts = found(first, other)
        assert any(text.startswith(message) for text in texts), texts

    def test_a_refresh_time_that_is_no_number(self) -> None:
        texts = found({"sct_ms": "soon"}, {"head": ", exchange_ms = 21"})
        assert any("sct_ms" in text for text in texts), texts
        assert not any("longer than" in text for text in texts)

    @pytest.mark.parametrize("end", [0, 1], ids=["sender", "receiver"])
    @pytest.mark.parametrize("name", PARAMETERS)
    def test_what_is_not_stated_or_no_number_contradicts_nothing(self, name: str, end: int) -> None:
        """MUST: a value that is not there is held against no other one of its end."""
        for value in (None, "soon"):
            ends: list[dict[str, Any]] = [{"checksum": 1}, {"checksum": 1}]
            ends[end][name] = value
            own = [text for text in found(*ends) if text.startswith(("SC1: ", "LX: ")[end])]
            entries = name == "mapping" and value is not None
            assert [text.partition(": ")[2][:36] for text in own] == [
                "a mapping entry must be 8 hexadecima"
            ] * entries

    def test_lengths_of_the_entries(self) -> None:
        texts = found({"mapping": "60000108 60010108"}, {"mapping": ""})
        assert "SC1 maps entries of 8 8 bits, LX of no bits" in texts

    def test_a_value_out_of_its_range_is_found_once(self) -> None:
        texts = found({"srvt_ms": 300, "checksum": 1}, {"srvt_ms": 300})
        assert all("must be 0..255, not 300" in text for text in texts)
        assert texts

    def test_sizes(self) -> None:
        sizes = load(NAME).sizes
        assert [octets for octets in range(12) if sizes.is_legal(octets)] == list(range(9))


class TestPlant:
    @staticmethod
    def named(name: str, **changes: Any) -> Connection:
        """Return a connection of another name, and ends of other names."""
        one = connection(changes, changes, ', network = "hall 3"')
        ends = [
            dataclasses.replace(
                end,
                name=f"{end.name}{name}",
                peer=f"{end.peer}{name}",
                connection_table=dataclasses.replace(end.connection_table, name=name),
            )
            for end in one.ends
        ]
        return Connection(first=ends[0], second=ends[1])

    def reused(self, *connections: Connection) -> list[str]:
        report = checks.check_all(connections)
        return [each.message for each in report.findings if each.rule == "connection-id-reused"]

    def test_identifiers_belong_to_one_data_object(self) -> None:
        one, two = self.named("A"), self.named("B")
        assert self.reused(one, two) == [
            "the parameter identifier_1 273 (0x0111) is used by A (SC1A and LXA) and B (SC1B and "
            "LXB) in network hall 3",
            "the parameter identifier_2 274 (0x0112) is used by A (SC1A and LXA) and B (SC1B and "
            "LXB) in network hall 3",
        ]
        assert self.reused(one, self.named("B", identifier_1=275, identifier_2=276)) == []
        assert self.reused(one) == []
        bare = self.named("B", identifier_1=None, identifier_2=None)
        assert self.reused(one, bare) == []

    def test_the_places_are_those_that_state_it(self) -> None:
        report = checks.check_all((self.named("A"), self.named("B")))
        found = next(each for each in report.findings if each.rule == "connection-id-reused")
        assert [spot.end for spot in found.spots] == ["SC1A", "LXA", "SC1B", "LXB"]
        assert {spot.where.key for spot in found.spots} == {"parameters.identifier_1"}


class TestImport:
    @pytest.mark.parametrize(("more", "profile"), [([], NAME), (["--profile", "plain"], "plain")])
    def test_a_mapping_uses_this_profile_unless_another_is_stated(
        self,
        more: list[str],
        profile: str,
        capsys: pytest.CaptureFixture[str],
    ) -> None:
        path = "safeframe/_demo/device-files/srdo.eds"
        options = ["--select", "srdo:1", "--as", "device", "--connection", "SC1-LX", "--end", "LX"]
        options += ["--peer", "SC1", "--safe", "zero", *more]
        assert cli.main(["import", "eds", path, *options]) == 0
        shown = capsys.readouterr().out
        assert f'connection = {{ name = "SC1-LX", profile = "{profile}" }}' in shown
        end = mapfile.loads(shown, path="lx.toml")
        assert {end.sends.size_octets, end.receives.size_octets} == {0, 4}

    COMMUNICATION = (
        "[1301sub2]\nDefaultValue=50\n[1301sub3]\nDefaultValue=20\n"
        "[1301sub6]\nDefaultValue=0x112\n[1301sub5]\nDefaultValue=0x111\n"
    )
    MAPPING = "62000108 62010108 00050008 00050008 62100010 62110010"

    def imported(self, text: str, viewpoint: str = "device", profile: str = "") -> Imported:
        """Return the end of an object whose communication part is this one."""
        shipped = Path("safeframe/_demo/device-files/srdo.eds").read_text("utf-8")
        before, _, rest = shipped.partition("[1301sub5]")
        octets = f"{before}{text}[1381]{rest.partition('[1381]')[2]}".encode()
        decisions = Decisions(viewpoint=viewpoint, safe="zero")
        identity = Identity(connection="SC1-LX", profile=profile, end="LX", peer="SC1")
        source = DeviceFile(path="lx.eds", octets=octets)
        return imported(find_format("eds"), source, ["srdo:1"], identity, decisions)

    def test_identifiers_times_and_mapping_become_parameters(self) -> None:
        """Of the device all, of the other end what both share, and nothing for other profiles."""
        shared = {"identifier_1": 0x111, "identifier_2": 0x112, "srvt_ms": 20}
        found = self.imported(self.COMMUNICATION)
        assert dict(found.end.parameters) == shared | {"sct_ms": 50, "mapping": self.MAPPING}
        assert list(found.end.parameters) == sorted(found.end.parameters)
        assert len(found.notes) == 1
        other = self.imported(self.COMMUNICATION, "controller")
        assert dict(other.end.parameters) == shared
        assert self.imported(self.COMMUNICATION, profile="plain").end.parameters == ()

    @pytest.mark.parametrize(
        ("text", "name", "note"),
        [
            (
                "[1301sub5]\nDefaultValue=$NODEID+0xFF\n",
                "identifier_1",
                "identifier_1 (1301sub5) is left out: $NODEID+0xFF is no number by itself",
            ),
            (
                "[1301sub5]\nDefaultValue=0xFF\n",
                "identifier_1",
                "identifier_1 (1301sub5) is left out: it is the default, to which 2 x node is add",
            ),
            (
                "[1301sub6]\nDefaultValue=256\n",
                "identifier_2",
                "identifier_2 (1301sub6) is left out: it is the default, to which 2 x node is add",
            ),
            (
                "[1301sub2]\nDefaultValue=-1\n",
                "sct_ms",
                "sct_ms (1301sub2) is left out: -1 is no number by itself",
            ),
        ],
    )
    def test_what_is_no_number_by_itself_is_left_out(self, text: str, name: str, note: str) -> None:
        found = self.imported(text)
        assert name not in dict(found.end.parameters)
        assert any(each.startswith(f"srdo:1: {note}") for each in found.notes), found.notes

    @pytest.mark.parametrize(
        ("key", "value", "expected"),
        [
            ("ParameterValue", "0x4370", 0x4370),
            ("DefaultValue", "0x4370", None),
            ("ParameterValue", "x", None),
        ],
    )
    def test_only_a_configuration_states_a_checksum(
        self, key: str, value: str, expected: int | None
    ) -> None:
        found = self.imported(f"{self.COMMUNICATION}[13FFsub1]\n{key}={value}\n")
        assert dict(found.end.parameters).get("checksum") == expected

    def test_two_objects_are_two_connections(self) -> None:
        """Their parameters would contradict each other: none is taken."""
        shipped = Path("safeframe/_demo/device-files/srdo.eds").read_text("utf-8")
        again = shipped[shipped.index("[1301]") : shipped.index("[6200]")]
        again = (
            again.replace("[1301", "[1302")
            .replace("[1381", "[1382")
            .replace("Value=2\n", "Value=1\n")
        )
        source = DeviceFile(path="lx.eds", octets=(shipped + again).encode())
        identity = Identity(connection="SC1-LX", profile="", end="LX", peer="SC1")
        decisions = Decisions(viewpoint="device", safe="zero")
        found = imported(find_format("eds"), source, ["srdo:1", "srdo:2"], identity, decisions)
        assert found.end.parameters == ()
        assert found.end.sends.size_octets == found.end.receives.size_octets == 4

    @pytest.mark.parametrize(
        ("name", "value", "message"),
        [
            ("srvt_ms", 25, "the parameter srvt_ms is 20 at lx.eds and 25 at LX"),
            ("sct_ms", 60, "the parameter sct_ms is 60 at LX, 50 in lx.eds"),
            (
                "mapping",
                "62000110 62010110",
                "the parameter mapping is 62000110 62010110 at LX, MAPPING in lx.eds",
            ),
            ("mapping", "MAPPING", ""),
        ],
    )
    def test_a_map_is_compared_in_its_parameters(
        self, name: str, value: int | str, message: str
    ) -> None:
        found = self.imported(self.COMMUNICATION)
        said = dict(found.end.parameters)
        mapping = str(said["mapping"])
        if value == "MAPPING":
            value = mapping.replace(" ", ", 0x").lower()
        agreed = compare(found.end, found)
        assert agreed.agrees
        assert agreed.not_compared[0].endswith("not held by the file, but for its parameters")
        map_ = dataclasses.replace(found.end, parameters=tuple((said | {name: value}).items()))
        differs = compare(map_, found).findings
        expected = [message.replace("MAPPING", mapping)] if message else []
        assert [each.message for each in differs] == expected
        assert [{spot.end for spot in each.spots} for each in differs] == [{"LX", "lx.eds"}] * len(
            expected
        )

    def test_parameters_that_the_map_does_not_state_are_told(self) -> None:
        found = self.imported(self.COMMUNICATION)
        bare = dataclasses.replace(found.end, parameters=())
        compared = compare(bare, found)
        assert compared.agrees
        names = ", ".join(name for name, _ in found.end.parameters)
        assert compared.not_compared[1] == f"{names}: LX does not state what the file holds"
