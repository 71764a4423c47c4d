"""What nobody has looked at, and sides that show too little: told so that silence is no praise."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from .._link import Link
from .._words import count
from ._clock import Clock
from ._heard import Heard
from ._report import Note
from ._told import Told


def tell_missing(told: Told, link: Link, side: Heard, station: str) -> None:
    """Tell of a side that has sent nothing, and of one whose data nobody has used.

    ``station`` is that of the side, where no packet has come from it.
    """
    name, peer = link.names[side.side], link.names[1 - side.side]
    text = ""
    if not side.results and not side.steady:
        if side.sends:
            kind, text = "no frames", f"no frame of {name} was found"
            text += f": no packet comes from {station}" * bool(station)
    elif side.parts and side.carries and not side.data_frames:
        kind, text = "no frames", f"no data of {name} were complete and right"
    elif side.data_frames and not side.used_frames and not side.unread:
        kind = "never used"
        text = f"{peer} has not used the data of {name} in any frame of this recording"
    elif side.carries and side.results.get("accepted") and not side.data_frames:
        kind = "never used"
        text = f"{peer} has used no data of {name}: no right frame of this recording carries any"
    if text:
        told.note(kind, Note(number=0, offset=0, time_us=None, side=side.side, text=text))


def not_judged(link: Link, sides: Sequence[Heard], told: Told, clock: Clock) -> Iterator[str]:
    """Yield what nobody has looked at, and which option decides."""
    for side in sides:
        name, unknown = link.names[side.side], side.results.get("unknown", 0)
        if side.unknown_at_start:
            first = side.unknown_at_start
            text = "the first frame" if first == 1 else f"the first {first} frames"
            yield f"{text} of {name}: what it follows is not in the recording"
        if side.unproven.count:
            where = _at(side.unproven.kept[0])
            text = f"the data of {count(side.unproven.count, 'frame')} of {name} (the first: "
            yield f"{text}{where}): no checksum in this recording covers them"
        if unknown > side.unknown_at_start:
            later = count(unknown - side.unknown_at_start, "more frame")
            yield f"{later} of {name}: history is missing"
    if "other sender" in told.notes:
        number = count(told.notes["other sender"].count, "frame")
        yield f"{number} whose sender is no end of this connection"
    if "other station" in told.notes:
        number = count(told.notes["other station"].count, "frame")
        yield f"{number} of this connection from stations that --from does not name"
    if clock.start_us is None:
        yield "times: the recording has none"
    elif clock.start_us == clock.end_us and any(side.longest_gap_us >= 0 for side in sides):
        yield "times: from the first packet to the last none passes"
    elif link.watchdog_us is None:
        yield "times: neither map states watchdog_ms"
    elif clock.untimed:
        yield f"times around {count(clock.untimed, 'packet')} without one"
    for text, packets in sorted(told.skipped.items()):
        yield f"{packets} {text}"


def _at(note: Note) -> str:
    return f"{'line' if note.number == note.offset else 'packet'} {note.number}"
