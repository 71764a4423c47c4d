"""Results of recordings: made, put together, written and read again.

What a recording exercised stands in the result by the numbers of the points, and the points follow
from the maps, so a result is of use for the same two maps only. A file of results is no signature:
whoever doubts it gives the recording itself once more.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any, BinaryIO, NamedTuple

from .. import capture
from .._document.kinds import FLAG, TEXT, Kind, RefusalError, array, integer
from .._document.reader import read_text, reading
from .._document.tables import Key, nested
from .._errors import UsageError
from .._fingerprint import canonical, digest, end_fingerprint, wire_fingerprint
from .._link import Places
from .._words import counting
from ..capture._whole import examine_whole
from .exercised import Exercised
from .plan import KINDS, CoveragePlan

FORMAT = "safeframe-coverage/1"
_HEAD = re.compile(rb'(?:\xef\xbb\xbf)?\s*\{\s*"([a-z0-9_]+)"\s*:(?!\s*"safeframe-(?!coverage/))')
_HEAD_OCTETS = 1 << 16
_MOST_OCTETS = 64 << 20
_SHORT = 16


class PointSight(NamedTuple):
    """A point that a recording exercises: at which packet first, how long after the first one.

    ``packet`` is 0 where only the end of the recording shows it, ``time_us`` None without times.
    """

    point: int
    packet: int
    time_us: int | None


class RecordingOptions(NamedTuple):
    """How a recording was read: the options of ``safeframe capture``."""

    fresh: bool = False
    at: tuple[str, ...] = ()
    sources: tuple[str, ...] = ()
    values: tuple[str, ...] = ()
    ethertype: int | None = None
    udp_port: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ExercisedRecording:
    """What one recording exercises; ``frames`` are those of this connection.

    ``accepted`` are those of them that a receiver takes, ``used`` those whose data it uses.
    """

    name: str
    sha256: str
    size_octets: int
    packets: int
    frames: int
    accepted: int
    used: int
    clean: bool
    not_judged: tuple[str, ...]
    options: RecordingOptions
    seen: tuple[PointSight, ...]

    @property
    def order(self) -> tuple[Any, ...]:
        """By which recordings are sorted, whatever order they were given in."""
        return counting(self.name), self.sha256, self.options.fresh, str(self.options)


class CoverageShare(NamedTuple):
    """How many of some points were seen."""

    seen: int
    of: int

    @property
    def share(self) -> Fraction | None:
        """The part that was seen, exactly; None of nothing."""
        return Fraction(self.seen, self.of) if self.of else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Coverage:
    """What recordings exercise together.

    ``stopped`` tells that reading was interrupted; ``repeated`` names recordings that were given
    more than once and count once.
    """

    plan: CoveragePlan
    recordings: tuple[ExercisedRecording, ...]
    repeated: tuple[str, ...] = ()
    stopped: bool = False

    @property
    def total(self) -> CoverageShare:
        """All points."""
        return CoverageShare(len(self.first), len(self.plan.points))

    @property
    def first(self) -> dict[int, tuple[ExercisedRecording, PointSight]]:
        """The first recording that shows a point, for each point that was seen."""
        found: dict[int, tuple[ExercisedRecording, PointSight]] = {}
        for recording in self.recordings:
            for sight in recording.seen:
                found.setdefault(sight.point, (recording, sight))
        return found

    @property
    def kinds(self) -> dict[str, CoverageShare]:
        """The kinds that have points, with how many of them were seen."""
        first = self.first
        found = {}
        for kind in KINDS:
            own = [at for at, point in enumerate(self.plan.points) if point.kind == kind]
            if own:
                found[kind] = CoverageShare(sum(at in first for at in own), len(own))
        return found

    @property
    def empty(self) -> tuple[ExercisedRecording, ...]:
        """Recordings in which no frame is of this connection."""
        return tuple(each for each in self.recordings if not each.frames)


def measure(
    stream: BinaryIO, plan: CoveragePlan, name: str, options: RecordingOptions, places: Places
) -> tuple[ExercisedRecording, bool]:
    """Return what a recording exercises, and whether reading it was interrupted."""
    exercised = Exercised(plan)
    wanted = capture.Wanted(ethertype=options.ethertype, udp_port=options.udp_port)
    whole = examine_whole(
        stream, plan.link, places, wanted, fresh=options.fresh, observer=exercised
    )
    found = whole.found
    made = ExercisedRecording(
        name=name,
        sha256=whole.sha256,
        size_octets=whole.size_octets,
        packets=found.packets,
        frames=found.frames,
        accepted=sum(side.results.get("accepted", 0) for side in found.sides),
        used=sum(side.used_frames for side in found.sides),
        clean=found.is_clean,
        not_judged=tuple(sorted(found.not_judged)),
        options=options,
        seen=tuple(PointSight(at, *exercised.seen[at]) for at in sorted(exercised.seen)),
    )
    return made, found.stopped


def put_together(
    plan: CoveragePlan, recordings: Iterable[ExercisedRecording], *, stopped: bool = False
) -> Coverage:
    """Return what recordings exercise together; the order in which they are given is nothing.

    One that is there more than once counts once. Raises UsageError where it then shows something
    else: it was read in two ways, or a file of results was changed.
    """
    kept: dict[str, ExercisedRecording] = {}
    repeated = set()
    for each in sorted(recordings, key=lambda one: one.order):
        known = kept.get(each.sha256)
        if known is None:
            kept[each.sha256] = each
            continue
        if replace(each, name=known.name, options=known.options) != known:
            raise UsageError(
                f"a recording must show the same each time, not {known.name} and {each.name} "
                f"(both SHA-256 {each.sha256[:_SHORT]}): it was read in two ways, or a file of "
                "results was changed"
            )
        repeated.add(each.name if each.name == known.name else f"{each.name} ({known.name})")
    return Coverage(
        plan=plan,
        recordings=tuple(kept.values()),
        repeated=tuple(sorted(repeated)),
        stopped=stopped,
    )


def _maps(plan: CoveragePlan) -> list[dict[str, str]]:
    ends = sorted(plan.link.connection.ends, key=lambda end: end.name)
    return [
        {"end": end.name, "wire": wire_fingerprint(end), "own": end_fingerprint(end)}
        for end in ends
    ]


def _points_sha256(plan: CoveragePlan) -> str:
    """Return a digest of the points: what their numbers stand for."""
    return digest(canonical([list(point) for point in plan.points]).encode("ascii"))


def result_json(coverage: Coverage) -> dict[str, Any]:
    """Return results as plain data for JSON, which ``loads`` reads again."""
    plan, first = coverage.plan, coverage.first
    shows = [0] * len(plan.points)
    for recording in coverage.recordings:
        for sight in recording.seen:
            shows[sight.point] += 1
    points = []
    for at, point in enumerate(plan.points):
        row: dict[str, Any] = {**point._asdict(), "recordings": shows[at], "first": None}
        if at in first:
            recording, sight = first[at]
            where = {"packet": sight.packet, "time_us": sight.time_us}
            row["first"] = {"recording": recording.name, "sha256": recording.sha256, **where}
        points.append(row)
    return {
        "format": FORMAT,
        "connection": plan.link.connection.name,
        "profile": plan.link.profile,
        "maps": _maps(plan),
        "points_sha256": _points_sha256(plan),
        "stopped": coverage.stopped,
        "total": coverage.total._asdict(),
        "kinds": [{"kind": kind, **each._asdict()} for kind, each in coverage.kinds.items()],
        "points": points,
        "not_judged": list(plan.not_judged),
        "recordings": [_recording_json(each) for each in coverage.recordings],
    }


def _recording_json(each: ExercisedRecording) -> dict[str, Any]:
    return {
        "name": each.name,
        "sha256": each.sha256,
        "size_octets": each.size_octets,
        "packets": each.packets,
        "frames": each.frames,
        "accepted": each.accepted,
        "used": each.used,
        "clean": each.clean,
        "not_judged": list(each.not_judged),
        "options": {
            name: list(value) if isinstance(value, tuple) else value
            for name, value in each.options._asdict().items()
        },
        "seen": [list(sight) for sight in each.seen],
    }


def is_result(path: str) -> bool:
    """Tell whether a file holds results instead of a recording: by its first key, whichever."""
    with reading(path, what="recording") as stream:
        found = _HEAD.match(stream.read(_HEAD_OCTETS))
    return found is not None and found[1].decode("ascii") in ("format", *_KEYS, *_COMPUTED)


def read_result(path: str, plan: CoveragePlan) -> tuple[ExercisedRecording, ...]:
    """Return the recordings in a file of results; raises InputError, and as ``loads``."""
    text = read_text(path, what="file of results", limit=_MOST_OCTETS)
    return loads(text, plan, path=path)


def loads(text: str, plan: CoveragePlan, *, path: str = "<text>") -> tuple[ExercisedRecording, ...]:
    """Return the recordings in a text of results.

    Raises InputError for a text that is none, UsageError for results of other maps, or of reading
    that was interrupted.
    """
    from .._document.jsontext import read  # deferred: most runs read no JSON.

    data, tables = read(text, path=path)
    tables.head(data, FORMAT, "a file of results", (*_KEYS, *_COMPUTED))
    known = {name: data[name] for name in _KEYS if name in data}
    found = tables.take(known, _KEYS, (), "a file of results")
    tables.problems.refuse()
    assert found is not None, "what is missing is a problem"
    _fits(plan, found, path)
    most = len(plan.points)
    for number, recording in enumerate(found["recordings"]):
        numbers = [sight.point for sight in recording.seen]
        if sorted(set(numbers)) != numbers or numbers[-1:] > [most - 1]:
            where = ("recordings", number, "seen")
            tables.add(where, f"seen must name points 0..{most - 1}, each once and in order")
        elif not recording.frames >= recording.accepted >= recording.used:
            where = ("recordings", number, "used")
            tables.add(where, "used must be at most accepted, and accepted at most frames")
        elif not recording.used and any(plan.points[at].kind != "fault" for at in numbers):
            where = ("recordings", number, "seen")
            tables.add(where, "seen must name faults only where no data were used")
    tables.problems.refuse()
    rows: tuple[ExercisedRecording, ...] = found["recordings"]
    again = result_json(put_together(plan, rows))
    for key in ("total", "kinds", "points"):
        if key in data and data[key] != again[key]:
            tables.add((key,), f"{key} must be what the recordings come to: the file was changed")
    tables.problems.refuse()
    return rows


def _fits(plan: CoveragePlan, found: Mapping[str, Any], path: str) -> None:
    """Raise UsageError unless results are whole and about these maps."""
    ours = _maps(plan)
    if found["maps"] != tuple(ours):
        theirs = {row["end"]: row for row in found["maps"]}
        other = [row["end"] for row in ours if theirs.get(row["end"]) != row] or sorted(theirs)
        raise UsageError(
            f"{path}: the results must be about these maps, not about other ones: that of "
            f"{' and that of '.join(other)} is not the same (measure the recordings anew)"
        )
    if found["points_sha256"] != _points_sha256(plan):
        raise UsageError(
            f"{path}: the results must be about the same points, not about others: they were "
            "made with other values (--value), or by another version (measure the recordings anew)"
        )
    if found["stopped"]:
        raise UsageError(
            f"{path}: the results must be those of whole recordings, not of reading that was "
            "interrupted (measure the recordings anew)"
        )


def _sight(value: Any) -> PointSight:
    match value:
        case [int(point), int(packet), int() | None as time_us] if not (
            {bool} & {type(one) for one in value} or point < 0 or packet < 0
        ):
            return PointSight(point, packet, time_us)
    raise RefusalError("a point, a packet and a time in microseconds or null", value)


def _hexadecimal(value: Any) -> str:
    if type(value) is not str or not re.fullmatch("[0-9a-f]{64}", value):
        raise RefusalError("64 hexadecimal digits", value)
    return value


def _maybe(value: Any) -> int | None:
    if value is not None and type(value) is not int:
        raise RefusalError("an integer or null", value)
    return value


_DIGEST = Kind(text="64 hexadecimal digits", read=_hexadecimal, schema={})
_NUMBER = integer(0)
_OPTIONS = nested(
    RecordingOptions,
    {
        "fresh": Key(kind=FLAG, required=True),
        "at": Key(kind=array(TEXT), required=True),
        "sources": Key(kind=array(TEXT), required=True),
        "values": Key(kind=array(TEXT), required=True),
        "ethertype": Key(kind=Kind(text="", read=_maybe, schema={}), required=True),
        "udp_port": Key(kind=Kind(text="", read=_maybe, schema={}), required=True),
    },
    "options",
)
_RECORDING = nested(
    ExercisedRecording,
    {
        "name": Key(kind=TEXT, required=True),
        "sha256": Key(kind=_DIGEST, required=True),
        **{
            name: Key(kind=_NUMBER, required=True)
            for name in ("size_octets", "packets", "frames", "accepted", "used")
        },
        "clean": Key(kind=FLAG, required=True),
        "not_judged": Key(kind=array(TEXT), required=True),
        "options": Key(kind=_OPTIONS, required=True),
        "seen": Key(kind=array(Kind(text="", read=_sight, schema={})), required=True),
    },
    "a recording",
)
_MAP = nested(
    dict,
    {
        "end": Key(kind=TEXT, required=True),
        "wire": Key(kind=_DIGEST, required=True),
        "own": Key(kind=_DIGEST, required=True),
    },
    "a map",
)
_KEYS = {
    "maps": Key(kind=array(_MAP), required=True),
    "points_sha256": Key(kind=_DIGEST, required=True),
    "stopped": Key(kind=FLAG, required=True),
    "recordings": Key(kind=array(_RECORDING), required=True),
}
_COMPUTED = ("connection", "profile", "total", "kinds", "points", "not_judged", "caution")
"""Keys for readers: they follow from the others and the maps; numbers are held against these."""
