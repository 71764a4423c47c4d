"""Coverage of a campaign: a brute-force reader finds the same, and results merge."""

from __future__ import annotations

import dataclasses
import hashlib
import io
import itertools
import json
import random
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from safeframe import _mapfile as mapfile
from safeframe import capture, fixtures
from safeframe._bits import Place
from safeframe._cli import main
from safeframe._codec import decode, encode
from safeframe._coverage import results
from safeframe._coverage.exercised import Exercised
from safeframe._coverage.plan import KINDS, CoveragePlan, CoveragePoint
from safeframe._coverage.points import plan_of
from safeframe._coverage.results import Coverage, ExercisedRecording, PointSight, RecordingOptions
from safeframe._errors import InputError, UsageError
from safeframe._link import Link, Places, link_of, link_stated
from safeframe._model import Connection, End, Map, Relation, Signal
from safeframe._report import coverage as render
from safeframe._report import html, markdown, text
from safeframe.capture import FrameVerdict, Packet, Trouble
from safeframe.fixtures import RunningLink, SentFrame
from safeframe.protocols.fscp_12_1._frame import FAIL_SAFE_DATA
from safeframe.protocols.recording import RecordingTraits

from .links import CASES, ONE_WAY, demo_connection, make
from .schemas import validate
from .test_capture_examine import packets

DATA = Path(__file__).parent.parent / "data" / "captures"

SC1 = """\
format = "safeframe-map/1"
connection = { name = "SC1-LX", profile = "fscp-12-1", id = 7, watchdog_ms = 100, exchange_ms = 12 }
end = { name = "SC1", peer = "LX", role = "master" }
sends = [
  { at = "0.0", name = "permit" },
  { at = "0.1", name = "release" },
  { at = "0.2", name = "ack", edge = "rising" },
  { at = "0.3", name = "stop", safe = 1 },
  { at = "0.4", name = "level_valid" },
  { at = "0.5", name = "gait", width = 2, type = "code", codes = { 0 = "a", 1 = "b", 3 = "c" } },
  { at = "0.7", reserved = 1, value = 1 },
  { at = "1.0", name = "level", width = 4, type = "uint", valid_by = "level_valid" },
  { at = "1.4", name = "trim", width = 4, type = "int", safe = -1 },
]
receives = [
  { at = "0.0", name = "released" },
  { at = "0.1", name = "alarm", edge = "both" },
  { at = "0.2", name = "kind", width = 2, type = "code", codes = { 0 = "only" } },
  { at = "0.4", reserved = 4 },
  { at = "1.0", name = "height", width = 16, type = "uint", order = "big" },
  { at = "3.0", reserved = 8 },
  { at = "4.0", name = "weight", width = 32, type = "float" },
]
relations = [
  { name = "permitted", when = { release = 1 }, requires = { permit = 1 }, reason = "r" },
  { name = "levels", when = { level = [1, 2] }, excludes = { gait = 3, permit = 1 }, reason = "r" },
  { name = "in", when = { released = 1 }, follows = { release = 1 }, within_ms = 40, reason = "r" },
  { name = "last", when = { alarm = 1 }, follows = { released = 1 }, after_ms = 20, reason = "r" },
]
"""
LX = (
    SC1.partition("relations = [")[0]
    .replace(
        'name = "SC1", peer = "LX", role = "master"', 'name = "LX", peer = "SC1", role = "slave"'
    )
    .replace("sends =", "was =")
    .replace("receives =", "sends =")
    .replace("was =", "receives =")
)
SIZES = 2, 8


def rich(first: str = SC1, second: str = LX) -> Link:
    """Return a connection with every sort of signal and relation."""
    return link_of(
        Connection(first=mapfile.loads(first, path="a"), second=mapfile.loads(second, path="b"))
    )


RICH = rich()
PLAN = plan_of(RICH)
DEMO = link_of(demo_connection())


def exercised(
    link: Link, rows: Sequence[Packet | Trouble], *, fresh: bool = True
) -> tuple[CoveragePlan, dict[int, tuple[int, int | None]]]:
    plan = plan_of(link)
    found = Exercised(plan)
    capture.examine(rows, link, fresh=fresh, observers=[found])
    return plan, found.seen


def shown(
    link: Link, rows: Sequence[Packet | Trouble], *, fresh: bool = True
) -> set[CoveragePoint]:
    plan, seen = exercised(link, rows, fresh=fresh)
    return {plan.points[at] for at in seen}


class Brute:
    """Looks at every frame and asks for every point anew; knows nothing of bits and changes."""

    def __init__(self, link: Link, rows: Sequence[Packet | Trouble], *, fresh: bool = True) -> None:
        self.link = link
        self.known: dict[tuple[int, bytes], dict[str, Any]] = {}
        # By side: (packet, time, data or None where there is none in use, ...)
        self.story: list[tuple[int, int | None, int, bytes | None]] = []
        self.verdicts: list[FrameVerdict] = []
        self.whole = capture.examine(rows, link, fresh=fresh, each=self.verdicts.append)
        for verdict in self.verdicts:
            self.story += self.events(verdict)

    def events(self, verdict: FrameVerdict) -> Iterator[tuple[int, int | None, int, bytes | None]]:
        packet, side, opinion = verdict.packet, verdict.frame.side, verdict.opinion
        at = packet.number, packet.time_us
        if opinion.rejoined or (opinion.step is not None and opinion.step.ends):
            yield (*at, 0, None)
            yield (*at, 1, None)
        if opinion.result == "rejected" and opinion.check == "watchdog":
            yield (*at, side, None)
        if opinion.result != "accepted" or opinion.step is None or opinion.step.use is None:
            return
        data = opinion.step.data
        if data is None:
            data = self.link.data_of(verdict.frame.octets)
        if self.link.carries[side] and data is not None:
            yield (*at, side, None if opinion.step.use else data)

    def states(
        self,
    ) -> Iterator[tuple[int, int | None, int, list[bytes | None], list[bytes | None]]]:
        """Yield what is in use after and before each step of the story."""
        now: list[bytes | None] = [None, None]
        for number, time_us, side, data in self.story:
            before = list(now)
            now = list(now)
            now[side] = data
            yield number, time_us, side, now, before

    def values(self, map_: Map, data: bytes | None) -> dict[str, Any] | None:
        """Return numbers by name, None for what is not valid or has no name."""
        if data is None:
            return None
        if (id(map_), data) not in self.known:
            self.known[id(map_), data] = self.read(map_, data)
        return self.known[id(map_), data]

    def read(self, map_: Map, data: bytes) -> dict[str, Any]:
        found = {}
        for name, reading in decode(map_, data).items():
            signal = reading.signal
            raw = reading.raw
            assert raw is not None
            number: Any = raw
            if signal.type == "int" and raw >= 1 << signal.width - 1:
                number = raw - (1 << signal.width)
            if signal.type == "float":
                number = float(reading.text)
            valid_by = {each.name: each for each in map_.signals}.get(signal.valid_by)
            if valid_by is not None and not decode(map_, data)[valid_by.name].raw:
                number = None
            if signal.codes and number not in dict(signal.codes):
                number = None
            found[name] = number
        return found

    def holds(self, point: CoveragePoint, side: int, now: Any, before: Any) -> bool:
        """Tell whether the data in use show a point of a signal."""
        name, _, reader = point.subject.partition(" as ")
        map_ = self.link.received(side) if reader else self.link.sent(side)
        signal = next(each for each in map_.signals if each.name == name)
        data = now[side]
        values, old = self.values(map_, data), self.values(map_, before[side])
        if values is None or values[name] is None:
            return False
        number, safe = values[name], signal.safe
        if point.kind == "non-safe value":
            return bool(number != safe)
        if point.kind == "alone":
            rest = encode(map_, {name: number} | ({signal.valid_by: 1} if signal.valid_by else {}))
            return bool(number != safe) and rest == data
        if point.kind == "code point":
            return point.what.split(" ")[0] == str(number)
        if point.kind == "bit":
            place, _, value = point.what.partition(" at ")
            at = Place.parse(place)
            return bool(data[at.octet] >> at.bit & 1 == int(value))
        if old is None or old[name] is None:
            return False
        leaves = point.what.startswith(("leaves", f"{safe} ->"))
        return bool((old[name] == safe) != (number == safe) and (number != safe) == leaves)

    def all(self) -> dict[CoveragePoint, int]:
        """Return the first packet that shows each point."""
        found: dict[CoveragePoint, int] = {}
        points = plan_of(self.link).points
        names = self.link.names
        steps = list(self.states())
        for point in points:
            if point.kind in ("state", "order", "fault"):
                continue
            side = names.index(point.scope.split(" -> ")[0])
            for number, _, own, now, before in steps:
                if own == side and self.holds(point, side, now, before):
                    found[point] = number
                    break
        for end in self.link.connection.ends:
            self.relations(end, [each for each in points if each.scope == end.name], steps, found)
        self.faults([each for each in points if each.kind == "fault"], found)
        return found

    def of_end(self, end: End, now: Any) -> dict[str, Any]:
        own = self.link.connection.ends.index(end)
        sends, receives = self.values(end.sends, now[own]), self.values(end.receives, now[1 - own])
        return {**(sends or {}), **(receives or {})}

    def relations(
        self, end: End, points: list[CoveragePoint], steps: Any, found: dict[CoveragePoint, int]
    ) -> None:
        for point in points:
            if point.kind == "state":
                names = point.subject.split(", ")
                wanted = point.what.split(", ")
                named = {
                    name: {
                        each.what.split(", ")[at]
                        for each in points
                        if each.subject == point.subject
                    }
                    for at, name in enumerate(names)
                }
                for number, _, _, now, _ in steps:
                    values = self.of_end(end, now)
                    cells = [values.get(name) for name in names]
                    told = [
                        str(cell) if str(cell) in named[name] else "other"
                        for name, cell in zip(names, cells, strict=True)
                    ]
                    if None not in cells and told == wanted:
                        found.setdefault(point, number)
            if point.kind == "order":
                relation = next(each for each in end.relations if each.name == point.subject)
                self.order(end, relation, point, steps, found)

    def order(
        self, end: End, relation: Relation, point: CoveragePoint, steps: Any, found: Any
    ) -> None:
        then_since: Any = "always"
        when_before = None
        was_false = False
        for number, time_us, _, now, _ in steps:
            values = self.of_end(end, now)
            names = [name for name, _ in (*relation.when, *relation.then)]
            if any(values.get(name) is None for name in names):
                then_since, when_before, was_false = "always", None, False
                continue
            when = all(values[name] in numbers for name, numbers in relation.when)
            then = all(values[name] in numbers for name, numbers in relation.then)
            if not then:
                was_false, then_since = True, "always"
            elif was_false:
                was_false, then_since = False, time_us
            begins, when_before = when and when_before is False, when
            if not (then and begins):
                continue
            late = relation.within_ms
            if then_since == "always":
                right = late is None
            else:
                passed = (time_us - then_since) / 1000
                right = passed >= relation.after_ms and (late is None or passed <= late)
            if right:
                found.setdefault(point, number)

    def faults(self, points: list[CoveragePoint], found: dict[CoveragePoint, int]) -> None:
        names = self.link.names
        for point in points:
            if point.subject == "connection":
                for event in self.whole.events:
                    if event.kind in ("restart", "number reset") and event.is_wrong:
                        found.setdefault(point, event.number)
                continue
            side = names.index(point.scope.split(" -> ")[0])
            own = [each for each in self.verdicts if each.frame.side == side]
            ids = "wrong id"
            if point.what.startswith("rejected: "):
                check = point.what.removeprefix("rejected: ")
                hits = [each for each in own if each.opinion[:2] == ("rejected", check)]
                self.first(point, hits, found)
            elif point.what.startswith(ids):
                checks = point.what.removeprefix("wrong id (").removesuffix(")").split(", ")
                hits = [
                    each
                    for each in own
                    if each.opinion.result == "foreign"
                    or (each.opinion.result == "rejected" and each.opinion.check in checks)
                    or (each.opinion.result == "rejected" and "_id" in each.opinion.check)
                ]
                self.first(point, hits, found)
            elif point.what.startswith("silence"):
                late = [each for each in own if each.opinion.check == "watchdog"]
                if late:
                    found[point] = late[0].packet.number
                elif any(each.side == side for each in self.whole.silent):
                    found[point] = 0
            elif point.what.startswith("data not used"):
                for event in self.whole.events:
                    if event.kind == "fail-safe" and event.is_wrong and event.side == side:
                        found.setdefault(point, event.number)
            else:
                self.again(point, side, found)

    def first(self, point: CoveragePoint, hits: list[FrameVerdict], found: Any) -> None:
        if hits:
            found[point] = hits[0].packet.number

    def again(self, point: CoveragePoint, side: int, found: dict[CoveragePoint, int]) -> None:
        """Look for data in use after they went out of use for a reason of the protocol."""
        used = gone = False
        for verdict in self.verdicts:
            step = verdict.opinion.step
            for number, _, own, data in self.events(verdict):
                if own != side:
                    continue
                if data is not None:
                    if gone:
                        found.setdefault(point, number)
                    used, gone = True, False
                else:
                    ends = step is not None and step.ends
                    gone |= used and (not verdict.opinion.rejoined or ends)
                    used = False


def same(link: Link, rows: Sequence[Packet | Trouble], *, fresh: bool = True) -> set[CoveragePoint]:
    """Return what is exercised, found in both ways."""
    plan, seen = exercised(link, rows, fresh=fresh)
    ours = {plan.points[at]: number for at, (number, _) in seen.items()}
    assert ours == Brute(link, rows, fresh=fresh).all()
    return set(ours)


ACTS = (
    "tick",
    "tick",
    "tick",
    "tick",
    "fail-safe",
    "silence",
    "corrupt",
    "lose",
    "restart",
    "mute",
)


def story(link: Link, acts: Sequence[tuple[str, int]], seed: int) -> list[Packet | Trouble]:
    """Return packets of a connection to which things happen; data are mostly kept or legal."""
    chance = random.Random(seed)
    run = RunningLink(link, 1)
    steps = list(run.opening)
    data = [encode(link.sent(side), {}) for side in (0, 1)]
    steps += run.tick((data[0], data[1]))
    for act, number in acts:
        side = number % 2
        if act == "restart":
            again = RunningLink(link, 1)
            steps += [
                dataclasses.replace(each, time_us=each.time_us + run.time_us)
                for each in again.opening
            ]
            again.time_us += run.time_us
            run = again
            continue
        if act == "silence":
            run.time_us += 150_000
        if act == "fail-safe":
            octets = run.session.produce(
                link.senders[side], command=FAIL_SAFE_DATA, data=bytes(len(data[side]))
            )
            steps.append(SentFrame(side=side, time_us=run.time_us, octets=octets))
            run.time_us += 3000
            continue
        for way in (0, 1):
            map_ = link.sent(way)
            signal = chance.choice(map_.signals)
            if number >> 2 + way & 1:
                raw = chance.getrandbits(signal.width)
                word = int.from_bytes(data[way], "little")
                mask = (1 << signal.width) - 1 << signal.start
                if number >> 4 & 1:
                    word = int.from_bytes(encode(map_, {}), "little")
                word = word & ~mask | raw << signal.start
                data[way] = word.to_bytes(len(data[way]), "little")
        made = list(run.tick((data[0], data[1])))
        if act == "corrupt":
            spoilt = bytearray(made[side].octets)
            spoilt[1 + number % 2] ^= 1 << number % 8
            made[side] = dataclasses.replace(made[side], octets=bytes(spoilt))
        if act == "lose":
            del made[side]
        if act == "mute":
            made = [each for each in made if each.side != side]
        steps += made
    return packets(link, steps)


class TestBruteForce:
    """What is exercised MUST be what a reader finds that asks every frame for every point."""

    @settings(max_examples=30)
    @given(
        acts=st.lists(st.tuples(st.sampled_from(ACTS), st.integers(0, 63)), max_size=25),
        seed=st.integers(0, 1 << 16),
    )
    def test_stories(self, acts: list[tuple[str, int]], seed: int) -> None:
        same(RICH, story(RICH, acts, seed))

    def test_a_long_story_shows_nearly_everything(self) -> None:
        chance = random.Random(4)
        words = [*ACTS, *["tick"] * 60]
        acts = [(chance.choice(words), chance.randrange(64)) for _ in range(800)]
        found = same(RICH, story(RICH, acts, 5))
        kinds = {kind: sum(each.kind == kind for each in found) for kind in KINDS}
        assert all(kinds.values())
        missing = [each for each in PLAN.points if each not in found]
        assert len(missing) < len(PLAN.points) / 3

    @pytest.mark.parametrize("case", [*CASES, *ONE_WAY], ids=str)
    @pytest.mark.parametrize("kind", ["states", "faults", "walking-one"])
    def test_every_protocol(self, case: tuple[str, int, int, dict[str, Any]], kind: str) -> None:
        link = make(*case)
        for made in fixtures.make(link, kind, seed=2, count=30)[:: 4 if kind == "faults" else 1]:
            same(link, packets(link, made.steps))

    @pytest.mark.parametrize(
        ("name", "maps", "values"),
        [
            ("corrupt-counted", "12", ()),
            ("foreign-12", "12", ()),
            ("foreign-13", "13", ()),
            ("fs-12", "12", ()),
            ("fs-13", "13", ()),
            ("fs-2", "2", ("format=base",)),
            ("fs-3", "3", ()),
            ("fs-ua", "ua", ()),
            ("fsv-only-ua", "ua", ()),
            ("reset", "12", ()),
        ],
    )
    def test_recordings(self, name: str, maps: str, values: tuple[str, ...]) -> None:
        first, second = (
            mapfile.load(str(DATA / "maps" / maps / f"{end}.toml")) for end in ("sc", "lx")
        )
        link = link_stated(Connection(first=first, second=second), values)
        octets = (DATA / f"{name}.hex").read_bytes()
        rows = [
            each
            for each in capture.read_recording(io.BytesIO(octets))
            if isinstance(each, Packet | Trouble)
        ]
        found = same(link, rows)
        faults = {each.what[:13] for each in found if each.kind == "fault"}
        assert ("data not used" in faults) == (name in ("fs-12", "fs-13", "fs-2", "fs-3", "fs-ua"))
        assert ("begins anew w" in faults) == (name == "reset")


def told(points: Sequence[CoveragePoint], scope: str, subject: str) -> list[tuple[str, str]]:
    return [each[::3] for each in points if each[1:3] == (scope, subject)]


def ends(link: Link, **values: Any) -> Link:
    """Return a link whose first end has other values."""
    first = dataclasses.replace(link.connection.first, **values)
    return link_of(Connection(first=first, second=link.connection.second))


class TestPoints:
    """What can be asked for MUST be a point; what cannot MUST be said, with its reason."""

    def test_of_each_sort_of_signal(self) -> None:
        points = PLAN.points
        way = "SC1 -> LX"
        assert told(points, way, "ack") == [
            ("non-safe value", ""),
            ("alone", ""),
            ("transition", "0 -> 1, the acting edge"),
            ("transition", "1 -> 0"),
        ]
        assert told(points, way, "stop")[2:] == [("transition", "1 -> 0"), ("transition", "0 -> 1")]
        assert told(points, way, "gait") == [
            ("code point", "0 (a)"),
            ("code point", "1 (b)"),
            ("code point", "3 (c)"),
            ("non-safe value", ""),
            ("alone", ""),
            ("transition", "leaves its safe value"),
            ("transition", "returns to its safe value"),
        ]
        bits = [what for kind, what in told(points, way, "level") if kind == "bit"]
        assert bits == [f"1.{bit} at {value}" for bit in range(4) for value in (0, 1)]
        both = [what for kind, what in told(points, "LX -> SC1", "alarm") if kind == "transition"]
        assert both == ["0 -> 1, the acting edge", "1 -> 0, the acting edge"]

    def test_reserved_bits_have_none(self) -> None:
        whats = {each.what for each in PLAN.points}
        assert "0.7 at 0" not in whats
        assert "3.0 at 1" not in whats

    def test_what_has_no_point(self) -> None:
        assert PLAN.not_judged == [
            "LX -> SC1 kind, non-safe value: no value besides the safe one has a name",
            "SC1 -> LX release, alone at its non-safe value: forbidden by permitted",
        ]
        assert told(PLAN.points, "LX -> SC1", "kind") == [("code point", "0 (only)")]
        assert ("alone", "") not in told(PLAN.points, "SC1 -> LX", "release")

    def test_states_are_those_that_relations_allow(self) -> None:
        subject = "released, alarm, permit, release, gait, level"
        rows = [what.split(", ") for kind, what in told(PLAN.points, "SC1", subject)]
        assert ["0", "0", "0", "0", "0", "other"] in rows
        assert not [row for row in rows if row[2:4] == ["0", "1"]]
        assert not [row for row in rows if row[2] == "1" and row[4] == "3" and row[5] in "12"]
        assert len(rows) == 92

    def test_too_many_states(self) -> None:
        names = [f"s{at}" for at in range(13)]
        map_ = Map(
            entries=tuple(Signal(name=name, at=Place.at(at)) for at, name in enumerate(names))
        )
        relations = tuple(
            Relation(name=f"r{at}", when=((one, (1,)),), excludes=((other, (1,)),), reason="r")
            for at, (one, other) in enumerate(itertools.pairwise(names))
        )
        link = make("fscp-12-1", 2, 2, {})
        first, second = link.connection.ends
        plan = plan_of(
            link_of(
                Connection(
                    first=dataclasses.replace(first, sends=map_, relations=relations),
                    second=dataclasses.replace(second, receives=map_),
                )
            )
        )
        listed = " and ".join(names)
        assert plan.not_judged == [f"SC1, states of {listed}: 8192 are too many to look at each"]
        assert not [each for each in plan.points if each.kind == "state"]

    def test_relations_that_both_ends_state_count_once(self) -> None:
        relations = "relations = [" + SC1.partition("relations = [")[2]
        twice = plan_of(rich(SC1, LX + relations))
        assert [each[0:1] + each[2:] for each in twice.points] == [
            each[0:1] + each[2:] for each in PLAN.points
        ]
        other = relations.replace("within_ms = 40", "within_ms = 41")
        more = plan_of(rich(SC1, LX + other))
        assert [each for each in more.points if each not in twice.points] == [
            CoveragePoint("order", "LX", "in", "released = 1 follows release = 1 within 41 ms"),
            CoveragePoint("order", "SC1", "in", "released = 1 follows release = 1 within 40 ms"),
        ]

    def test_a_signal_that_the_other_end_reads_otherwise(self) -> None:
        moved = LX.replace('{ at = "0.2", name = "ack"', '{ at = "0.3", name = "ack"').replace(
            '{ at = "0.3", name = "stop"', '{ at = "0.2", name = "stop"'
        )
        plan = plan_of(rich(SC1, moved))
        subjects = dict.fromkeys(each.subject for each in plan.points if each.scope == "SC1 -> LX")
        assert [each for each in subjects if " as " in each] == [
            "stop as LX reads it",
            "ack as LX reads it",
        ]

    def test_a_safe_value_that_does_not_fit(self) -> None:
        link = make("fscp-12-1", 2, 2, {})
        first = link.connection.first
        entries = tuple(
            dataclasses.replace(each, safe=300)
            if isinstance(each, Signal) and each.start == 8
            else each
            for each in first.sends.entries
        )
        plan = plan_of(ends(link, sends=Map(entries=entries)))
        assert plan.not_judged == [
            "SC1 -> LX: no signal alone by the map of SC1: order_level_1 must be 0..255, not 300",
            "SC1 -> LX order_level_1, non-safe value: order_level_1 must be 0..255, not 300",
        ]
        assert not [
            each
            for each in plan.points
            if each[:2] == ("alone", "SC1 -> LX") and " as " not in each[2]
        ]
        rows = [b"\0\0", b"\x01\xff", b"\0\0"]
        steps = RunningLink(plan.link, 1).ticks([(row, b"\0\0") for row in rows])
        assert CoveragePoint("bit", "SC1 -> LX", "order_level_1", "1.7 at 1") in shown(
            plan.link, packets(plan.link, steps)
        )

    def test_a_code_that_does_not_fit(self) -> None:
        link = make("fscp-12-1", 1, 1, {})
        code = Signal(name="x", at=Place(0, 0), width=2, type="code", codes=((0, "a"), (9, "b")))
        plan = plan_of(ends(link, sends=Map(entries=(code,))))
        assert plan.not_judged[0] == "SC1 -> LX x, code point 9: x must be 0..3, not 9"

    def test_a_code_that_does_not_fit_is_in_no_state(self) -> None:
        link = make("fscp-12-1", 1, 1, {})
        code = Signal(name="x", at=Place(0, 0), width=2, type="code", codes=((0, "a"), (9, "b")))
        other = Signal(name="y", at=Place(0, 2))
        rule = Relation(name="r", when=(("x", (0,)),), requires=(("y", (0, 1)),), reason="r")
        plan = plan_of(ends(link, sends=Map(entries=(code, other)), relations=(rule,)))
        states = [each.what for each in plan.points if each.kind == "state"]
        assert states == ["0, 0", "0, 1"]

    def test_states_of_a_code_are_those_that_can_be_exercised(self) -> None:
        link = make("fscp-12-1", 1, 1, {})
        code = Signal(name="x", at=Place(0, 0), width=2, type="code", codes=((1, "a"), (2, "b")))
        other = Signal(name="y", at=Place(0, 2))
        rule = Relation(name="r", when=(("y", (1,)),), requires=(("x", (1, 2)),), reason="r")
        plan = plan_of(ends(link, sends=Map(entries=(code, other)), relations=(rule,)))
        states = {each.what for each in plan.points if each.kind == "state"}
        assert states == {"0, 0", "1, 0", "2, 0", "1, 1", "2, 1"}
        rows = [bytes([row]) for row in (0, 3, 1, 2, 5, 6)]
        steps = RunningLink(plan.link, 1).ticks([(row, b"\0") for row in rows])
        seen = shown(plan.link, packets(plan.link, steps))
        assert {each.what for each in seen if each.kind == "state"} == states

    def test_no_watchdog(self) -> None:
        terms = dataclasses.replace(RICH.connection.first.connection_table, watchdog_ms=None)
        first, second = (
            dataclasses.replace(end, connection_table=terms) for end in RICH.connection.ends
        )
        plan = plan_of(link_of(Connection(first=first, second=second)))
        assert [each for each in plan.not_judged if "silence" in each] == [
            "LX -> SC1, silence: no watchdog is stated",
            "SC1 -> LX, silence: no watchdog is stated",
        ]
        assert (0, "silence") not in plan.faults

    @pytest.mark.parametrize(
        ("case", "whats"),
        [
            (
                CASES[4],
                [
                    "rejected: crc_1",
                    "rejected: order",
                    "wrong id (address, domain)",
                    "silence longer than the watchdog",
                    "data not used after data in use",
                    "data in use again after that or after silence",
                ],
            ),
            (
                ONE_WAY[0],
                [
                    "rejected: inverted",
                    "rejected: too_short",
                    "rejected: srvt",
                    "wrong id (identifier_1, identifier_2)",
                    "silence longer than the watchdog",
                    "data in use again after that or after silence",
                ],
            ),
        ],
        ids=["fscp-13-1", "en50325-5"],
    )
    def test_fault_classes_are_those_of_the_protocol(self, case: Any, whats: list[str]) -> None:
        plan = plan_of(make(*case))
        found = [each.what for each in plan.points if each[:2] == ("fault", "SC1 -> LX")]
        assert sorted(found) == sorted(whats)

    def test_protocols_that_show_no_restart(self) -> None:
        told_of = {case[0]: plan_of(make(*case)).not_judged for case in (*CASES, *ONE_WAY)}
        without = sorted(
            name for name, rows in told_of.items() if any("restart" in row for row in rows)
        )
        assert without == ["en50325-5", "fscp-2-1", "opcua-safety"]
        assert told_of["fscp-2-1"] == ["restart: recordings of fscp-2-1 do not show one"]

    def test_a_protocol_that_says_little(self, monkeypatch: pytest.MonkeyPatch) -> None:
        class Room:
            recipe = None
            faults = None
            recording = RecordingTraits(fails_safe=False)

        link = make("fscp-12-1", 1, 1, {})
        terms = dataclasses.replace(link.connection.first.connection_table, watchdog_ms=None)
        both = [dataclasses.replace(end, connection_table=terms) for end in link.connection.ends]
        link = link_of(Connection(first=both[0], second=both[1]))
        monkeypatch.setattr("safeframe._coverage.points.room", lambda _: Room)
        plan = plan_of(link)
        assert plan.not_judged == [
            "LX -> SC1, fault classes: no check of fscp-12-1 is named for them",
            "LX -> SC1, silence: no watchdog is stated",
            "SC1 -> LX, fault classes: no check of fscp-12-1 is named for them",
            "SC1 -> LX, silence: no watchdog is stated",
            "restart: recordings of fscp-12-1 do not show one",
        ]
        assert not [each for each in plan.points if each.kind == "fault"]

    @pytest.mark.parametrize(
        ("rule", "told_of"),
        [
            ("when = { gait = [1, 3] }, requires = { permit = 1 }", "gait"),
            ("when = { gait = 0 }, requires = { trim = -1 }", "trim"),
            ("when = { level = 0 }, requires = { trim = [-1, 3, 5] }", None),
            ("when = { gait = [1, 3] }, excludes = { permit = 1 }", None),
        ],
    )
    def test_alone_against_relations(self, rule: str, told_of: str | None) -> None:
        one = SC1.partition("relations = [")[0]
        one += f'relations = [ {{ name = "x", {rule}, reason = "r" }} ]'
        left_out = [each for each in plan_of(rich(one)).not_judged if "alone" in each]
        assert left_out == (
            [f"SC1 -> LX {told_of}, alone at its non-safe value: forbidden by x"] * bool(told_of)
        )

    def test_the_order_of_maps_and_rows_is_nothing(self) -> None:
        first, second = RICH.connection.ends
        turned = plan_of(link_of(Connection(first=second, second=first)))
        assert turned.points == PLAN.points
        assert turned.not_judged == PLAN.not_judged
        other = dataclasses.replace(first, sends=Map(entries=first.sends.entries[::-1]))
        assert plan_of(link_of(Connection(first=other, second=second))).points == PLAN.points


DRIVEN = {"permit": 1}


def run_of(*rows: dict[str, int], gap_at: int = -1, link: Link = RICH) -> list[Packet]:
    """Return packets in which SC1 sends these values after two frames of rest."""
    run = RunningLink(link, 1)
    rest = encode(link.sent(0), {}), encode(link.sent(1), {})
    steps = list(run.ticks([rest, rest]))
    for at, row in enumerate(rows):
        if at == gap_at:
            run.time_us += 150_000
        steps += run.tick((encode(link.sent(0), row), rest[1]))
    return [each for each in packets(link, steps) if isinstance(each, Packet)]


def kinds_of(found: set[CoveragePoint], subject: str) -> set[str]:
    return {each.what or each.kind for each in found if each.subject == subject}


class TestGaps:
    """A change across a gap MUST NOT count as a transition, and data out of use never count."""

    def test_an_edge(self) -> None:
        found = same(RICH, run_of(DRIVEN, {}))
        assert kinds_of(found, "permit") == {"non-safe value", "alone", "0 -> 1", "1 -> 0"}

    def test_an_edge_across_silence(self) -> None:
        found = same(RICH, run_of({}, DRIVEN, DRIVEN, gap_at=1))
        assert kinds_of(found, "permit") == {"non-safe value", "alone"}
        assert "silence longer than the watchdog" in kinds_of(found, "frames")
        assert "data in use again after that or after silence" in kinds_of(found, "frames")

    def test_silence_at_the_end(self) -> None:
        rows = [*run_of(DRIVEN), Packet(99, 99, 10_000_000, b"", "nobody")]
        plan, seen = exercised(RICH, rows)
        point = plan.faults[0, "silence"]
        assert seen[point] == (0, 10_000_000)

    def test_an_edge_across_a_restart(self) -> None:
        first, again = run_of({}), run_of(DRIVEN)
        start_us = (first[-1].time_us or 0) + 12_000
        later = [
            each._replace(number=each.number + 1000, time_us=start_us + (each.time_us or 0))
            for each in again
        ]
        found = same(RICH, [*first, *later])
        assert "begins anew while it runs" in kinds_of(found, "connection")

    def test_data_that_a_restart_leaves_unchanged(self) -> None:
        first, again = run_of(DRIVEN), run_of(DRIVEN)
        start_us = (first[-1].time_us or 0) + 12_000
        later = [each._replace(time_us=start_us + (each.time_us or 0)) for each in again]
        found = same(RICH, [*first, *later])
        assert "data in use again after that or after silence" in kinds_of(found, "frames")

    def test_an_edge_across_a_lost_history(self) -> None:
        rows = run_of({}, {}, {}, DRIVEN, DRIVEN, DRIVEN, DRIVEN, DRIVEN, DRIVEN)
        cut = rows[:-16] + rows[-12:]
        notes = capture.examine(cut, RICH, fresh=True).notes
        assert "history lost" in notes
        assert "0 -> 1" not in kinds_of(same(RICH, cut), "permit")

    def test_a_value_that_is_not_valid(self) -> None:
        rows = run_of({"level": 9}, {"level": 9, "level_valid": 1}, {"level": 3, "level_valid": 1})
        found = same(RICH, rows[:-4])
        assert kinds_of(found, "level") == {"1.0 at 0", "1.1 at 0", "1.2 at 0", "1.3 at 0"} - {
            f"1.{bit} at 0" for bit in range(4)
        }
        found = same(RICH, rows)
        assert kinds_of(found, "level") >= {"non-safe value", "alone", "1.3 at 1", "1.3 at 0"}
        assert "leaves its safe value" not in kinds_of(found, "level")

    def test_nothing_in_use(self) -> None:
        assert shown(RICH, []) == set()
        rows = [Packet(1, 1, 0, b"\x01\x02\x03", "SC1")]
        assert not [each for each in shown(RICH, rows) if each.kind != "fault"]

    def test_minus_zero_is_the_safe_value(self) -> None:
        run = RunningLink(RICH, 1)
        rest = encode(RICH.sent(0), {}), encode(RICH.sent(1), {})
        steps = list(run.ticks([rest, rest, (rest[0], encode(RICH.sent(1), {"weight": -0.0}))]))
        found = same(RICH, packets(RICH, steps))
        assert not kinds_of(found, "weight") & {"non-safe value", "alone", "leaves its safe value"}
        assert "7.7 at 1" in kinds_of(found, "weight")

    def test_frames_of_another_connection(self) -> None:
        for case in (CASES[2], CASES[4]):
            link = make(*case)
            sets = [
                each for each in fixtures.make(link, "faults", seed=1) if each.fault == "insertion"
            ]
            results_of = set()
            for made in sets:
                found = same(link, packets(link, made.steps))
                results_of |= {each.what[:8] for each in found if each.kind == "fault"}
            assert "wrong id" in results_of
        note = capture.Note(number=4, offset=4, time_us=7, side=1, text="right for another one")
        exercised_by = Exercised(PLAN)
        exercised_by.note("foreign elsewhere", note)
        assert exercised_by.seen == {PLAN.faults[1, "id"]: (4, 7)}
        exercised_by.note("packet", dataclasses.replace(note, side=None))
        assert len(exercised_by.seen) == 1

    def test_a_message_of_no_known_kind_has_no_wrong_id(self) -> None:
        """What a check is called MUST NOT decide: `id` is the kind of a message here."""
        link = make(*CASES[4])
        (made, *_) = fixtures.make(link, "states", seed=1)
        rows = list(packets(link, made.steps))
        assert isinstance(rows[-1], Packet)
        octets = bytearray(rows[-1].octets)
        octets[1] &= 3
        rows[-1] = rows[-1]._replace(octets=bytes(octets))
        notes = capture.examine(rows, link, fresh=True).notes["rejected"].kept
        assert [(note.check, note.text[:4]) for note in notes] == [("id", "id: ")]
        assert not [each for each in same(link, rows) if each.what.startswith("wrong id")]

    def test_every_id_of_a_protocol_is_one(self) -> None:
        plan = plan_of(make(*CASES[10]))
        assert plan.link.profile == "opcua-safety"
        (what,) = (each.what for each in plan.points if each.what.startswith("wrong id"))
        assert what == "wrong id (consumer_id, spdu_id_1, spdu_id_2, spdu_id_3)"

    def test_reserved_octets(self) -> None:
        run = RunningLink(RICH, 1)
        rest = encode(RICH.sent(0), {}), encode(RICH.sent(1), {})
        driven = bytearray(rest[1])
        driven[0], driven[3] = 1, 0x80
        steps = run.ticks(
            [rest, rest, (rest[0], bytes(driven)), (rest[0], rest[1][:3] + b"\1\0\0\0\0")]
        )
        found = same(RICH, packets(RICH, steps))
        assert kinds_of(found, "released") == {"non-safe value", "0 -> 1", "1 -> 0"}

    def test_a_signal_that_is_done(self) -> None:
        rows = [{"trim": value} for value in (0, -1, 5, -6, -1, 2, -1, 3, -1)]
        found = kinds_of(same(RICH, run_of(*rows)), "trim")
        assert found >= {"non-safe value", "alone", "leaves its safe value"}
        assert len(found) == 12

    def test_an_order_without_times(self) -> None:
        order = CoveragePoint("order", "SC1", "after", "ack = 1 follows permit = 1")
        within = dataclasses.replace(RICH.connection.first.relations[2], within_ms=40)
        both = Relation(
            name="after", when=(("ack", (1,)),), follows=(("permit", (1,)),), reason="r"
        )
        link = ends(RICH, relations=(both, within))
        rows = run_of({}, DRIVEN, {"permit": 1, "ack": 1}, link=link)
        assert order in same(link, rows)
        assert order in shown(link, [each._replace(time_us=None) for each in rows])
        late = dataclasses.replace(both, after_ms=5)
        link = ends(RICH, relations=(late,))
        assert not [
            each
            for each in shown(link, [each._replace(time_us=None) for each in rows])
            if each.kind == "order"
        ]

    def test_an_order_that_began_without_a_time(self) -> None:
        """MUST: a time that nobody knows is not taken for one that was long enough."""
        later = Relation(
            name="after",
            when=(("ack", (1,)),),
            follows=(("permit", (1,)),),
            after_ms=5,
            reason="r",
        )
        link = ends(RICH, relations=(later,))
        rows = run_of({}, DRIVEN, DRIVEN, DRIVEN, DRIVEN, {"permit": 1, "ack": 1}, link=link)
        assert "order" in {each.kind for each in shown(link, rows)}
        bare = [each._replace(time_us=None) for each in rows[:-4]]
        assert "order" not in {each.kind for each in shown(link, [*bare, *rows[-4:]])}

    def test_times_count_from_the_first_packet(self) -> None:
        plan, seen = exercised(RICH, run_of(DRIVEN))
        at = plan.points.index(CoveragePoint("non-safe value", "SC1 -> LX", "permit", ""))
        number, time_us = seen[at]
        assert time_us == run_of(DRIVEN)[number - 1].time_us
        late = [each._replace(time_us=None) for each in run_of(DRIVEN)]
        plan, seen = exercised(RICH, late)
        assert seen[at] == (number, None)


def lines(rows: Sequence[Packet]) -> bytes:
    """Return packets as a recording of lines."""
    return "".join(
        f"@{each.time_us} {each.sender}: {each.octets.hex()}\n" for each in rows
    ).encode()


def measured(rows: Sequence[Packet], name: str = "run.hex") -> ExercisedRecording:
    options = RecordingOptions(fresh=True)
    made, stopped = results.measure(io.BytesIO(lines(rows)), PLAN, name, options, Places({}, {}))
    assert not stopped
    return made


ONE = measured(run_of(DRIVEN))
TWO = measured(run_of({"ack": 1}, {}), "b.hex")


def as_text(coverage: Coverage) -> str:
    return render.json_text(coverage)


class TestMeasuring:
    """A recording MUST be told by the digest of all of it, and read as it is."""

    def test_what_cannot_be_read_further(self) -> None:
        head = bytes.fromhex("d4c3b2a1 0200 0400 00000000 00000000 ffff0000 01000000")
        whole = head + b"\xff" * (3 << 20)
        made, _ = results.measure(io.BytesIO(whole), PLAN, "x", RecordingOptions(), Places({}, {}))
        assert (made.sha256, made.size_octets) == (hashlib.sha256(whole).hexdigest(), len(whole))
        assert (made.frames, made.clean, made.seen) == (0, False, ())

    def test_the_counts(self) -> None:
        frames = len(run_of(DRIVEN))
        assert (ONE.packets, ONE.frames, ONE.accepted, ONE.used) == (frames, frames, frames, 6)
        assert (ONE.clean, ONE.not_judged) == (True, ())


class TestMerging:
    """Results put together MUST say what their recordings say, in whatever order, each once."""

    def test_the_union(self) -> None:
        both = results.put_together(PLAN, [ONE, TWO])
        points = {sight.point for sight in (*ONE.seen, *TWO.seen)}
        assert both.total == (len(points), len(PLAN.points))
        assert len(points) > max(len(ONE.seen), len(TWO.seen))

    def test_order_is_nothing(self) -> None:
        assert as_text(results.put_together(PLAN, [ONE, TWO])) == as_text(
            results.put_together(PLAN, [TWO, ONE])
        )

    def test_the_order_of_maps_is_nothing(self) -> None:
        first, second = RICH.connection.ends
        turned = plan_of(link_of(Connection(first=second, second=first)))
        options = RecordingOptions(fresh=True)
        rows = story(RICH, [("tick", 63), ("silence", 30), ("restart", 0), ("tick", 31)], 3)
        made = [
            results.measure(
                io.BytesIO(lines([each for each in rows if isinstance(each, Packet)])),
                plan,
                "a.hex",
                options,
                Places({}, {}),
            )[0]
            for plan in (PLAN, turned)
        ]
        assert made[0] == made[1]
        assert as_text(results.put_together(PLAN, made[:1])) == as_text(
            results.put_together(turned, made[1:])
        )

    def test_a_recording_counts_once(self) -> None:
        renamed = dataclasses.replace(ONE, name="copy.hex")
        found = results.put_together(PLAN, [ONE, renamed, ONE])
        assert [each.name for each in found.recordings] == ["copy.hex"]
        assert found.repeated == ("run.hex (copy.hex)",)
        assert results.put_together(PLAN, [ONE, ONE]).repeated == ("run.hex",)

    def test_a_recording_that_shows_two_things(self) -> None:
        other = dataclasses.replace(ONE, seen=ONE.seen[:-1], name="x.hex")
        with pytest.raises(UsageError) as caught:
            results.put_together(PLAN, [ONE, other])
        assert str(caught.value) == (
            "a recording must show the same each time, not run.hex and x.hex (both SHA-256 "
            f"{ONE.sha256[:16]}): it was read in two ways, or a file of results was changed"
        )

    def test_read_again(self) -> None:
        both = results.put_together(PLAN, [ONE, TWO])
        document = json.loads(as_text(both))
        validate("coverage", document)
        assert document["total"] == {"seen": both.total.seen, "of": both.total.of}
        again = results.loads(as_text(both), PLAN)
        assert results.put_together(PLAN, again) == both
        assert as_text(results.put_together(PLAN, [*again, ONE])) == as_text(both)

    def test_nothing_measured(self) -> None:
        none = results.put_together(PLAN, [])
        assert none.total == (0, len(PLAN.points))
        assert all(each.seen == 0 for each in none.kinds.values())
        assert results.CoverageShare(0, 0).share is None

    def test_other_maps(self) -> None:
        made = as_text(results.put_together(PLAN, [ONE]))
        other = plan_of(rich(SC1.replace('name = "permit" }', 'name = "permit", note = "n" }'), LX))
        with pytest.raises(UsageError) as caught:
            results.loads(made, other, path="a.json")
        assert str(caught.value) == (
            "a.json: the results must be about these maps, not about other ones: that of SC1 is "
            "not the same (measure the recordings anew)"
        )
        with pytest.raises(UsageError, match="that of LX and that of SC1 is not the same"):
            results.loads(made, plan_of(DEMO))
        extra = json.loads(made)
        extra["maps"].append({"end": "X", "wire": "0" * 64, "own": "0" * 64})
        with pytest.raises(UsageError, match="that of LX and that of SC1 and that of X is not"):
            results.loads(json.dumps(extra), PLAN)

    def test_other_points(self) -> None:
        document = json.loads(as_text(results.put_together(PLAN, [ONE])))
        document["points_sha256"] = "0" * 64
        with pytest.raises(UsageError, match="not about others: they were made with other values"):
            results.loads(json.dumps(document), PLAN)

    def test_interrupted(self) -> None:
        made = as_text(results.put_together(PLAN, [ONE], stopped=True))
        with pytest.raises(UsageError, match="not of reading that was interrupted"):
            results.loads(made, PLAN)

    @pytest.mark.parametrize(
        ("change", "message"),
        [
            ({"seen": [[0, 1]]}, "an entry of seen must be a point, a packet and a time in micro"),
            ({"seen": [[True, 1, 2]]}, "an entry of seen must be a point, a packet and a time"),
            ({"seen": [[-1, 1, 2]]}, "an entry of seen must be a point, a packet and a time"),
            ({"seen": [[0, 1, 2.0]]}, "an entry of seen must be a point, a packet and a time"),
            (
                {"seen": [[1, 1, 2], [0, 1, 2]]},
                "seen must name points 0..{}, each once and in order",
            ),
            (
                {"seen": [[1, 1, 2], [1, 1, 2]]},
                "seen must name points 0..{}, each once and in order",
            ),
            ({"seen": [[4096, 1, 2]]}, "seen must name points 0..{}, each once and in order"),
            ({"sha256": "AB"}, "sha256 must be 64 hexadecimal digits, not 'AB'"),
            ({"frames": -1}, "frames must be at least 0, not -1"),
            ({"options": {"fresh": 1}}, "fresh must be true or false, not 1"),
            ({"clean": None}, "clean must be true or false, not null"),
        ],
    )
    def test_hostile(self, change: dict[str, Any], message: str) -> None:
        document = json.loads(as_text(results.put_together(PLAN, [ONE])))
        document["recordings"][0] |= change
        with pytest.raises(InputError) as caught:
            results.loads(json.dumps(document), PLAN, path="a.json")
        assert message.format(len(PLAN.points) - 1) in str(caught.value)

    @pytest.mark.parametrize(
        ("change", "message"),
        [
            ({"used": 7, "accepted": 6}, "used must be at most accepted, and accepted at most"),
            ({"accepted": 10**9}, "used must be at most accepted, and accepted at most frames"),
            ({"used": 0}, "seen must name faults only where no data were used"),
        ],
    )
    def test_counts_that_cannot_be(self, change: dict[str, Any], message: str) -> None:
        document = json.loads(as_text(results.put_together(PLAN, [ONE])))
        document["recordings"][0] |= change
        with pytest.raises(InputError) as caught:
            results.loads(json.dumps(document), PLAN, path="a.json")
        assert message in str(caught.value)

    @pytest.mark.parametrize("key", ["total", "kinds", "points"])
    def test_what_the_recordings_do_not_come_to(self, key: str) -> None:
        document = json.loads(as_text(results.put_together(PLAN, [ONE])))
        document[key] = json.loads(as_text(results.put_together(PLAN, [ONE, TWO])))[key]
        with pytest.raises(InputError, match=f"{key} must be what the recordings come to: the fi"):
            results.loads(json.dumps(document), PLAN)
        del document[key]
        assert results.loads(json.dumps(document), PLAN) == (ONE,)

    def test_faults_without_data(self) -> None:
        faults = tuple(each for each in ONE.seen if PLAN.points[each.point].kind == "fault")
        other = dataclasses.replace(ONE, used=0, seen=faults)
        assert results.loads(as_text(results.put_together(PLAN, [other])), PLAN) == (other,)

    def test_hostile_options(self) -> None:
        document = json.loads(as_text(results.put_together(PLAN, [ONE])))
        document["recordings"][0]["options"]["udp_port"] = "1"
        with pytest.raises(InputError, match="udp_port must be an integer or null, not '1'"):
            results.loads(json.dumps(document), PLAN)
        with pytest.raises(InputError, match="recordings must be stated"):
            results.loads('{"format": "safeframe-coverage/1"}', PLAN)
        with pytest.raises(InputError, match='format must be "safeframe-coverage/1"'):
            results.loads('{"format": "safeframe-coverage/2"}', PLAN)

    @settings(max_examples=20)
    @given(st.lists(st.lists(st.integers(0, 3), max_size=5), max_size=4))
    def test_groups_are_nothing(self, groups: list[list[int]]) -> None:
        pool = [ONE, TWO, measured(run_of({"stop": 0}), "c.hex"), measured(run_of(), "d.hex")]
        flat = results.put_together(PLAN, [pool[at] for group in groups for at in group])
        files = [
            results.loads(as_text(results.put_together(PLAN, [pool[at] for at in group])), PLAN)
            for group in groups
        ]
        merged = results.put_together(PLAN, [each for file in files for each in file])
        assert as_text(merged) == as_text(flat)


MAPS = ("sc1.toml", "lx.toml")


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Go where maps and recordings are."""
    monkeypatch.chdir(tmp_path)
    for name, content in zip(MAPS, (SC1, LX), strict=True):
        (tmp_path / name).write_text(content, encoding="utf-8")
    (tmp_path / "a.hex").write_bytes(lines(run_of(DRIVEN)))
    (tmp_path / "b.hex").write_bytes(lines(run_of({"ack": 1}, {})))
    (tmp_path / "none.hex").write_text("# nothing\n", encoding="utf-8")
    return tmp_path


@pytest.mark.usefixtures("bench")
class TestCommand:
    """``capture --coverage`` MUST take any number of recordings and earlier results."""

    def said(self, capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str]:
        code = main(["capture", "--coverage", "--fresh", *words, *MAPS])
        caught = capsys.readouterr()
        return code, caught.out + caught.err

    def test_results_stand_for_their_recordings(
        self, capsys: pytest.CaptureFixture[str], bench: Path
    ) -> None:
        code, whole = self.said(capsys, "--format", "json", "a.hex", "b.hex")
        assert code == 0
        validate("coverage", json.loads(whole))
        (bench / "a.json").write_text(self.said(capsys, "--format", "json", "a.hex")[1], "utf-8")
        assert self.said(capsys, "--format", "json", "b.hex", "a.json")[1] == whole
        assert self.said(capsys, "--format", "json", "b.hex", "a.json", "a.hex")[1] == whole
        assert self.said(capsys, "--format", "json", "a.json", "b.hex", "a.json")[1] == whole

    def test_a_file_of_results(self, capsys: pytest.CaptureFixture[str], bench: Path) -> None:
        whole = self.said(capsys, "--format", "json", "a.hex")[1]
        code, said = self.said(capsys, "--write-coverage", "a.json", "a.hex")
        assert code == 0
        assert "safeframe: a.json written (results of recordings)\n" in said
        assert (bench / "a.json").read_text("utf-8") == whole
        assert self.said(capsys, "--write-coverage", "a.json", "a.hex", "b.hex")[0] == 0
        assert self.said(capsys, "--write-coverage", "b.hex", "a.hex")[0] == 2
        assert self.said(capsys, "--write-coverage", "a.json", "--force", "a.json", "b.hex")[0] == 2
        assert (bench / "b.hex").read_bytes() == lines(run_of({"ack": 1}, {}))

    @pytest.mark.parametrize("first", ["caution", "recordings", "points_sha256", "format"])
    def test_the_order_of_keys_is_nothing(
        self, first: str, capsys: pytest.CaptureFixture[str], bench: Path
    ) -> None:
        whole = self.said(capsys, "--format", "json", "a.hex")[1]
        document = json.loads(whole)
        text = "\ufeff" + " " * 600 + json.dumps({first: document.pop(first)} | document)
        (bench / "a.json").write_text(text, "utf-8")
        assert self.said(capsys, "--format", "json", "a.json")[1] == whole

    def test_a_recording_that_begins_with_its_format(
        self, capsys: pytest.CaptureFixture[str], bench: Path
    ) -> None:
        rows = [{"octets": each.octets.hex(), "sender": each.sender} for each in run_of(DRIVEN)]
        text = "\n".join(map(json.dumps, [{"format": "safeframe-cases/1"}, *rows]))
        (bench / "a.jsonl").write_text(text, "utf-8")
        code, said = self.said(capsys, "a.jsonl")
        assert code == 0
        assert "exercised in 1 recording" in said

    def test_results_of_no_recording(self, capsys: pytest.CaptureFixture[str], bench: Path) -> None:
        none = results.put_together(PLAN, [])
        (bench / "a.json").write_text(as_text(none), "utf-8")
        code, said = self.said(capsys, "a.json")
        assert code == 1
        assert "exercised in 0 recordings" in said

    def test_a_threshold(self, capsys: pytest.CaptureFixture[str]) -> None:
        code, said = self.said(capsys, "--format", "json", "a.hex")
        total = json.loads(said)["total"]
        exact = total["seen"] * 1000 // total["of"]
        below, above = (f"{each // 10}.{each % 10}" for each in (exact, exact + 1))
        assert self.said(capsys, "--fail-under", below, "a.hex")[0] == 0
        code, said = self.said(capsys, "--fail-under", above, "a.hex")
        assert code == 1
        assert f"{below} % of the points were exercised, less than {above} %" in said

    @pytest.mark.parametrize("word", ["101", "-1", "nan", "1e1", "100.0000001", "", "1/2"])
    def test_no_percentage(self, capsys: pytest.CaptureFixture[str], word: str) -> None:
        code, said = self.said(capsys, f"--fail-under={word}", "a.hex")
        assert code == 2
        assert "--fail-under" in said

    def test_nothing_for_this_connection(self, capsys: pytest.CaptureFixture[str]) -> None:
        code, said = self.said(capsys, "a.hex", "none.hex")
        assert code == 1
        assert "no frame of this connection is in none.hex" in said
        assert "0 frames" not in said

    def test_standard_input(
        self, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
    ) -> None:
        stdin = io.TextIOWrapper(io.BytesIO(lines(run_of(DRIVEN))))
        monkeypatch.setattr("sys.stdin", stdin)
        code, said = self.said(capsys, "-")
        assert code == 0
        assert "  standard input  " in said

    def test_interrupted(
        self, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
    ) -> None:
        made = dataclasses.replace(ONE, name="a.hex"), True
        monkeypatch.setattr("safeframe._coverage.results.measure", lambda *_: made)
        code, said = self.said(capsys, "--write-coverage", "x.json", "a.hex", "b.hex")
        assert code == 130
        assert not Path("x.json").exists()
        assert "b.hex" not in said
        assert "interrupted: until then " in said

    @pytest.mark.parametrize(
        ("words", "message"),
        [
            (("--timeline", "a.hex"), "--timeline must stand without --coverage"),
            (("--also", "lx.toml", "a.hex"), "--also must stand without --coverage"),
            (("--plot", "x.svg", "a.hex"), "--plot must stand without --coverage"),
            (("-", "-"), "- must stand for one recording only"),
            (("missing.hex",), "missing.hex: the file must be readable"),
            (("--at", "X=1", "a.hex"), "--at must name SC1 or LX, not 'X'"),
        ],
    )
    def test_wrong_use(
        self, capsys: pytest.CaptureFixture[str], words: tuple[str, ...], message: str
    ) -> None:
        code, said = self.said(capsys, *words)
        assert code == 2
        assert message in said

    def test_without_coverage(self, capsys: pytest.CaptureFixture[str]) -> None:
        assert main(["capture", "a.hex", "b.hex", *MAPS]) == 2
        assert "must have one recording and two maps, not 2 recordings" in capsys.readouterr().err
        assert main(["capture", "--fail-under", "1", "a.hex", *MAPS]) == 2
        assert "--fail-under must stand with --coverage" in capsys.readouterr().err
        assert main(["capture", "--write-coverage", "x.json", "a.hex", *MAPS]) == 2
        assert "--write-coverage must stand with --coverage" in capsys.readouterr().err

    def test_not_these_maps(self, capsys: pytest.CaptureFixture[str], bench: Path) -> None:
        (bench / "a.json").write_text(self.said(capsys, "--format", "json", "a.hex")[1], "utf-8")
        (bench / "sc1.toml").write_text(SC1.replace("permit", "allow"), "utf-8")
        (bench / "lx.toml").write_text(LX.replace("permit", "allow"), "utf-8")
        code, said = self.said(capsys, "a.json")
        assert code == 2
        assert "that of LX and that of SC1 is not the same (measure the recordings anew)" in said


class TestPages:
    """What was not exercised MUST be told, a line for each signal, the cautions on every page."""

    def test_text(self) -> None:
        both = results.put_together(PLAN, [ONE, dataclasses.replace(ONE, name="copy.hex"), TWO])
        said = text.render(render.document(both), text.PLAIN)
        assert "  states that the relations allow" in said
        assert "given more than once, counted once: run.hex (copy.hex)" in said
        assert "\n  - stop: never at a non-safe value\n" in said
        assert "gait: never at a non-safe value; never 1 (b), 3 (c)" in said
        assert "level: never at a non-safe value; never 1: 1.0-1.3; never 0: 1.0-1.3" in said
        assert "never 0 | " not in said
        assert "Not judged, and never counted as exercised" in said
        assert max(map(len, said.splitlines())) <= 80
        assert "Seen on the wire is not seen at the machine" in said

    def test_never_alone(self) -> None:
        made = measured(run_of({"permit": 1, "ack": 1, "gait": 2}, {}))
        said = text.render(render.document(results.put_together(PLAN, [made])), text.PLAIN)
        assert "\n  - ack: never alone\n" in said
        assert "\n  - gait: never at a non-safe value; never 1 (b), 3 (c)\n" in said

    def test_all_pages(self) -> None:
        made = render.document(results.put_together(PLAN, [ONE]))
        for page in (html.render(made), markdown.render(made)):
            assert "Seen on the wire is not seen at the machine" in page
            assert "Passive reading only, with permission of whoever runs the network" in page

    def test_many_lines(self) -> None:
        plan = plan_of(make("fscp-13-1", 10, 40, {}))
        assert sum(each.kind == "non-safe value" for each in plan.points) == 62
        made = render.document(results.put_together(plan, []))
        said = text.render(made, text.PLAIN)
        assert "and 27 more (--format json names every point)" in said
        assert "state_level_39" in html.render(made)
        assert "state_level_39" not in said

    def test_everything(self) -> None:
        seen = tuple(PointSight(at, 1, None) for at in range(len(PLAN.points)))
        whole = dataclasses.replace(ONE, seen=seen)
        found = results.put_together(PLAN, [whole])
        said = text.render(render.document(found), text.PLAIN)
        assert "every point was exercised; not everything was judged" in said
        assert "Not exercised" not in said
        plan = dataclasses.replace(PLAN, not_judged=[])
        found = results.put_together(plan, [whole])
        assert render.document(found).verdict == ("every point was exercised", "good", "")
        assert not render.is_below(found, results.CoverageShare(1, 1).share)

    def test_of_nothing(self) -> None:
        plan = dataclasses.replace(PLAN, points=[])
        found = results.put_together(plan, [dataclasses.replace(ONE, seen=())])
        assert render.document(found).verdict == (
            "there is nothing that could be exercised",
            "strong",
            "",
        )
        assert render.is_below(found, results.CoverageShare(1, 2).share)
        assert not render.is_below(found, None)
