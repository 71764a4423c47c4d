"""A sixth protocol: one folder (``tests/unit/sixth``) and one entry in the registry, no more."""

from __future__ import annotations

import io
import json
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

import safeframe
from safeframe import _mapfile as mapfile
from safeframe import capture, fixtures, frame, protocols, residual
from safeframe._bits import Place
from safeframe._cli import main
from safeframe._errors import FrameError, UsageError
from safeframe._link import Link, link_of
from safeframe._model import Connection, ConnectionTable, End, Map, Signal
from safeframe._timing import timing
from safeframe.protocols import scopes

NAME = "lift-6"
Run = Callable[..., str]


@pytest.fixture(autouse=True)
def sixth() -> Iterator[protocols.Room]:
    """Register the protocol for one test: this is the one entry."""
    yield protocols.register(NAME, f"{__package__}.sixth")
    protocols.unregister(NAME)


def one_map(prefix: str, octets: int) -> Map:
    return Map(
        entries=tuple(
            Signal(
                name=f"{prefix}_{bit}",
                at=Place(bit // 8, bit % 8),
                one_means=f"{prefix} {bit}",
                bind=f"{prefix}.{bit}",
            )
            for bit in range(8 * octets)
        )
    )


def connection(down_octets: int = 2, up_octets: int = 3, **terms: int) -> Connection:
    table = ConnectionTable(
        name="SC1-LX",
        profile=NAME,
        edition="1",
        id=7,
        watchdog_ms=100,
        exchange_ms=12,
        permitted_reaction_ms=250,
        legal_octets=(),
    )
    down, up = one_map("order", down_octets), one_map("state", up_octets)
    first = End(
        name="SC1", peer="LX", connection_table=table, role="shaft", address=1, sends=down,
        receives=up,
    )  # fmt: skip
    second = End(
        name="LX", peer="SC1", connection_table=table, role="cabin", address=2, sends=up,
        receives=down,
    )  # fmt: skip
    return Connection(first=first, second=second)


@pytest.fixture
def maps(tmp_path: Path) -> list[str]:
    paths = []
    for name, end in zip(("sc1-lx.toml", "lx-sc1.toml"), connection().ends, strict=True):
        path = tmp_path / name
        path.write_text(mapfile.dumps(end), encoding="utf-8")
        paths.append(str(path))
    return paths


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    def call(*arguments: str, code: int = 0) -> str:
        assert main(list(arguments)) == code
        shown = capsys.readouterr()
        assert "error" not in shown.err
        assert not shown.err or " written (" in shown.err
        return shown.out

    return call


def link() -> Link:
    return link_of(connection())


class TestRegistry:
    def test_it_stands_behind_the_others(self) -> None:
        assert protocols.names()[-1] == NAME
        room = protocols.room(NAME)
        assert repr(room) == f"Room('lift-6', '{__package__}.sixth')"
        assert protocols.load(NAME) is room.facts is protocols.load(NAME)

    def test_an_aspect_without_a_module_is_nothing(self) -> None:
        room = protocols.room(NAME)
        assert (room.start_up, room.packet) == (None, None)
        plain = protocols.room("plain")
        assert (plain.recipe, plain.scopes, plain.derivations) == (None, (), ())
        with pytest.raises(AttributeError, match=r"^a room has no smell$"):
            plain.smell  # noqa: B018

    def test_a_taken_name_is_refused(self) -> None:
        with pytest.raises(UsageError) as caught:
            protocols.register("fscp-12-1", "elsewhere")
        assert str(caught.value) == (
            "the name of a protocol must be new, not 'fscp-12-1' (safeframe.protocols.fscp_12_1)"
        )

    @pytest.mark.parametrize("name", ["fscp-12-1", "lift-7"])
    def test_only_a_registered_one_is_taken_away(self, name: str) -> None:
        with pytest.raises(UsageError) as caught:
            protocols.unregister(name)
        text = f"a protocol to be taken away must be a registered one, not {name!r}"
        assert str(caught.value) == text

    def test_once_taken_away_it_is_unknown(self) -> None:
        protocols.unregister(NAME)
        with pytest.raises(UsageError, match=r"a profile must be one of plain, .*, not 'lift-6'"):
            protocols.load(NAME)
        protocols.register(NAME, f"{__package__}.sixth")

    def test_facts_must_carry_the_name(self) -> None:
        protocols.register("lift-7", f"{__package__}.sixth")
        with pytest.raises(UsageError) as caught:
            protocols.load("lift-7")
        protocols.unregister("lift-7")
        assert str(caught.value) == "the facts of lift-7 must carry its name, not 'lift-6'"

    def test_a_room_that_lacks_a_library_says_so(self, monkeypatch: pytest.MonkeyPatch) -> None:
        """A module that is missing inside an aspect is an error, not a missing aspect."""
        monkeypatch.setitem(__import__("sys").modules, "safeframe.residual", None)
        monkeypatch.delitem(__import__("sys").modules, f"{__package__}.sixth._residual", False)
        with pytest.raises(ModuleNotFoundError, match=r"safeframe\.residual"):
            protocols.room(NAME).scopes  # noqa: B018


class TestLackingAspects:
    """A room that lacks an aspect is refused where the aspect is needed, by name."""

    def test_sessions(self, sixth: protocols.Room) -> None:
        sixth.session = None
        with pytest.raises(UsageError, match=r"^the profile lift-6 has no sessions$"):
            frame.session(NAME, stations=(1, 2))
        with pytest.raises(UsageError, match=r"^the profile lift-6 has no streams of frames$"):
            link()

    def test_faults(self, sixth: protocols.Room) -> None:
        sixth.faults = None
        text = "^faults of lift-6 are not offered: no check is named for them$"
        with pytest.raises(UsageError, match=text):
            fixtures.make(link(), "faults")
        assert len(fixtures.make(link(), "undetected")) == 4

    def test_searching_recordings(self, sixth: protocols.Room) -> None:
        sixth.recording = None
        each = fixtures.make(link(), "states", count=3)
        recording = fixtures.write(each, link(), "pcapng", title="states")
        packets = capture.read_recording(io.BytesIO(recording), capture.Wanted())
        text = "^the profile lift-6 says nothing about recordings$"
        with pytest.raises(UsageError, match=text):
            capture.examine(packets, link())


class TestCheck:
    def test_command(self, run: Run, maps: list[str]) -> None:
        shown = run("check", *maps, code=1)
        assert "(300 ms)" in shown or "300 ms" in shown

    def test_agreeing_ends(self) -> None:
        report = safeframe.check(connection())
        assert {finding.rule for finding in report.findings} == {"watchdog-too-long"}

    def test_sizes_are_judged(self) -> None:
        rules = {finding.rule for finding in safeframe.check(connection(5, 1)).findings}
        assert "illegal-size" in rules

    def test_reaction_time(self) -> None:
        found = timing(connection())
        assert (found.reaction.known_ms, found.reaction.source) == (300, "LIFT 6, invented")


class TestFrame:
    def test_by_name(self) -> None:
        octets = frame.build(NAME, data=b"\x0a\x0b", station=1, counter=9)
        assert frame.verify(NAME, octets, station=1, counter=9).data == b"\x0a\x0b"
        with pytest.raises(FrameError, match="station: station is 0x01, expected 0x02"):
            frame.verify(NAME, octets, station=2)
        with pytest.raises(FrameError, match=r"the length must be 5\.\.8 octets, not 2"):
            frame.verify(NAME, b"\0\0", station=2)

    def test_command(self, run: Run) -> None:
        made = run("frame", "build", "--profile", NAME, "--data", "0a0b", "--set", "station=1")
        shown = run("frame", "explain", "--profile", NAME, "--set", "station=1", made.strip())
        assert "accepted" in shown
        assert "counter" in run("frame", "values", NAME)

    def test_a_number_is_derived(self, run: Run) -> None:
        assert run("frame", "derive", "station-of-floor", "floor=3") == "station 4\n"


class TestFixtures:
    @pytest.mark.parametrize("kind", ["identification", "walking-one", "states", "undetected"])
    def test_sets_are_accepted_by_a_session(self, kind: str) -> None:
        for each in fixtures.make(link(), kind, count=9):
            judging = link().session()
            for step in each.steps:
                judged = judging.judge(link().senders[step.side], step.octets)
                if step.verdict != "undetected":
                    assert judged.result == "accepted"

    def test_faults_are_caught_as_the_room_says(self) -> None:
        found = {each.fault: each for each in fixtures.make(link(), "faults")}
        assert list(found) == list(fixtures.ERRORS)
        assert found["addressing"].measure == "the station in the frame"
        for each in found.values():
            judging = link().session()
            for step in each.steps:
                judged = judging.judge(link().senders[step.side], step.octets)
                if step.verdict == "reject" and step.check != "watchdog":
                    failed = [v.check for v in judged.inspection.verdicts if v.result == "failed"]
                    assert (judged.result, failed[0]) == ("rejected", step.check), each.label

    def test_no_start_up(self) -> None:
        text = "a start-up of lift-6 is not offered, only of fscp-12-1, fscp-13-1, fscp-3-1, "
        text += "opcua-safety"
        with pytest.raises(UsageError, match=f"^{text}$"):
            fixtures.make(link(), "start-up")

    def test_command(self, run: Run, maps: list[str], tmp_path: Path) -> None:
        lines = run("fixtures", "--set", "states", "--format", "jsonl", *maps).splitlines()
        assert json.loads(lines[0])["profile"] == NAME
        path = tmp_path / "states.pcapng"
        run("fixtures", "--set", "states", "--format", "pcapng", "-o", str(path), *maps)
        assert path.stat().st_size > 1000


class TestCapture:
    def test_command(self, run: Run, maps: list[str], tmp_path: Path) -> None:
        """A recording of legal states has nothing wrong; frames are found in packets."""
        for form in ("jsonl", "pcapng"):
            path = tmp_path / f"states.{form}"
            run("fixtures", "--set", "states", "--format", form, "-o", str(path), *maps)
            shown = run("capture", "--fresh", str(path), *maps)
            assert "nothing wrong" in shown, shown

    def test_a_fault_is_seen(self) -> None:
        each = next(each for each in fixtures.make(link(), "faults") if each.fault == "corruption")
        recording = fixtures.write([each], link(), "jsonl", title="a fault")
        packets = capture.read_recording(io.BytesIO(recording), capture.Wanted())
        seen = capture.examine(packets, link(), fresh=True)
        assert seen.sides[0].results == {"accepted": 4, "rejected": 1}
        assert seen.notes["rejected"].count == 1


class TestResidual:
    def test_api(self) -> None:
        facts = protocols.load(NAME)
        scope = scopes.scope(facts)
        found = residual.weights(scopes.code(facts, 4, scope))
        assert found == residual.weights(residual.contiguous(0x11021, 64))

    def test_command(self, run: Run) -> None:
        shown = run("residual", "--profile", NAME, "--hd-table")
        assert shown.startswith("LIFT 6, invented: errors anywhere in the frame\n")
