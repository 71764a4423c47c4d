"""The examination of a recording, for people and as JSON."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from math import isfinite
from typing import Any

from .._bits import Place
from ..capture import Event, Examination, Interval, Note, SideReport, Undriven
from .text import CAUTION, PLAIN, Look, clean, table

__all__ = ["FORMAT", "document", "text"]

FORMAT = "safeframe-capture/1"

_RESULTS = ("accepted", "repeat", "ignored", "unknown", "rejected", "foreign")
_RARE = "ignored"
"""A result that only one protocol knows: without such a frame it has no column."""
_SHOWN = 5
"""Notes of one kind that are printed; JSON holds all that were kept."""
_SHOWN_EVENTS = 12
_TITLES = {
    "size": "The size of the safety data is not that of the maps; nothing is read from such data",
    "no frames": "An end that is not in this recording",
    "never used": "Data that are never used",
    "file": "The file cannot be read further",
    "packet": "Malformed packets",
    "line": "Lines that cannot be read",
    "rejected": "Rejected frames",
    "history lost": "History lost: the stream was joined anew",
    "relation": "Relations violated",
    "cut frame": "Frames cut off",
    "length": "Octets of no legal length",
    "unknown sender": "Frames of which the sender is not known",
    "other sender": "Frames of other senders",
    "foreign": "Frames of another connection in the place of one of this",
    "foreign elsewhere": "Frames of other connections",
    "time": "Time running backwards",
}


def text(found: Examination, *, look: Look = PLAIN) -> str:
    """Return everything a recording shows, what is wrong first, then what it has not shown."""
    lines = [_headline(found), "", *_sides(found.sides), *_events(found, look)]
    for kind, title in _TITLES.items():
        if kind in found.notes:
            notes = found.notes[kind]
            lines += ["", look.paint("strong", f"{title}: {notes.count}")]
            for note in notes.kept[:_SHOWN]:
                lines += look.wrap(_note(found, note), first="  ", rest="    ")
            lines += _more(notes.count, min(len(notes.kept), _SHOWN))
    lines += _difference(found, look)
    lines += _oddities(found, look)
    lines += _other_readings(found, look)
    lines += _intervals(found, "Silence longer than the watchdog", found.silent, found.silent_count)
    lines += _intervals(found, "Intervals with rejected frames", found.noisy, found.noisy_count)
    lines += _undriven(found, look)
    lines += _not_judged(found, look)
    lines += ["", _verdict(found, look), CAUTION]
    return "\n".join(lines) + "\n"


def _headline(found: Examination) -> str:
    parts = [f"{found.packets} packets", f"{found.frames} frames"]
    if found.start_us is not None and found.end_us is not None:
        parts.append(f"{_seconds(found.end_us - found.start_us)} s")
    return f"{clean(found.connection)} ({found.profile}): {', '.join(parts)}"


def _sides(sides: Sequence[SideReport]) -> list[str]:
    shown = [
        result
        for result in _RESULTS
        if result != _RARE or any(result in side.results for side in sides)
    ]
    rows: list[tuple[str, ...]] = [("sent by", *shown, "data", "used", "longest gap")]
    for side in sides:
        gap = "" if side.longest_gap_us is None else f"{side.longest_gap_us / 1000:g} ms"
        counts = (str(side.results.get(result, 0)) for result in shown)
        rows.append((side.name, *counts, str(side.data_frames), str(side.used_frames), gap))
    return table(rows, indent="  ")


def _events(found: Examination, look: Look) -> list[str]:
    """Return what the protocol did besides data; what is wrong is marked."""
    if not found.events:
        return []
    lines = ["", look.paint("strong", f"Events: {found.event_count}")]
    shown = _chosen_events(found.events)
    last = -1
    for at in shown:
        if at != last + 1:
            lines.append("  ...")
        last = at
        each = found.events[at]
        mark = "! " if each.is_wrong else "  "
        line = f"{mark}{_at(found, each)}: {each.text}"
        lines += look.wrap(line, first="  ", rest="      ")
    return lines + _more(found.event_count, last + 1)


def _chosen_events(events: Sequence[Event]) -> list[int]:
    """Return which events are printed: the first ones, and what is wrong among the others."""
    wrong = [at for at, each in enumerate(events) if each.is_wrong and at >= _SHOWN_EVENTS]
    return [*range(min(len(events), _SHOWN_EVENTS)), *wrong[:_SHOWN_EVENTS]]


def _at(found: Examination, each: Event) -> str:
    note = Note(
        number=each.number,
        offset=each.offset,
        time_us=each.time_us,
        side=each.side,
        text=each.text,
    )
    return _where(found, note)


def _oddities(found: Examination, look: Look) -> list[str]:
    if not found.oddities:
        return []
    lines = ["", look.paint("strong", "Data that contradict the maps")]
    for each in found.oddities:
        names = found.sides[each.side].name, found.sides[1 - each.side].name
        words = f"{names[0]} says {each.words[0]}, {names[1]} says {each.words[1]}"
        what = f"{names[0]} -> {names[1]} {each.place}: {each.text} ({words})"
        where = f"in {each.count} frames, the first: {_where(found, each.first)}"
        lines += look.wrap(clean(f"{what}; {where}"), first="  ", rest="    ")
    return lines


def _other_readings(found: Examination, look: Look) -> list[str]:
    if not found.other_readings:
        return []
    title = "Other readings that contradict less (no verdict: chance explains frames, too)"
    lines = ["", look.paint("strong", title)]
    for each in found.other_readings:
        name = found.sides[each.side].name
        text = f"{name}: {each.title}: {each.explained} of {each.frames} frames without "
        text += f"contradiction, {each.as_mapped} as the maps are"
        lines += look.wrap(clean(text), first="  ", rest="    ")
    return lines


def _not_judged(found: Examination, look: Look) -> list[str]:
    if not found.not_judged:
        return []
    lines = ["", look.paint("strong", "Not judged")]
    for each in found.not_judged:
        lines += look.wrap(clean(each), first="  ", rest="    ")
    return lines


def _where(found: Examination, note: Note) -> str:
    if not note.number:
        return "the whole recording"
    parts = [
        f"line {note.number}"
        if note.number == note.offset
        else f"packet {note.number} at octet {note.offset}"
    ]
    if note.time_us is not None and found.start_us is not None:
        parts.append(f"{_seconds(note.time_us - found.start_us)} s")
    if note.side is not None:
        parts.append(found.sides[note.side].name)
    return ", ".join(parts)


def _note(found: Examination, note: Note) -> str:
    return f"{_where(found, note)}: {note.text}"


def _more(count: int, shown: int) -> list[str]:
    return [f"  and {count - shown} more"] if count > shown else []


def _seconds(time_us: int) -> str:
    return f"{time_us / 1e6:.6f}".rstrip("0").rstrip(".")


def _difference(found: Examination, look: Look) -> list[str]:
    difference = found.difference
    if difference is None:
        return []
    side = difference.note.side or 0
    names = found.sides[side].name, found.sides[1 - side].name
    title = f"Frames that the two ends read differently: {difference.count}"
    rows = [("signal", f"{names[0]} sends", f"{names[1]} reads"), *difference.rows]
    where = clean(_where(found, difference.note))
    return [
        "",
        look.paint("strong", title),
        f"  the first: {where}, safety data {difference.data.hex(' ')}",
        *table(rows, indent="    "),
    ]


def _intervals(
    found: Examination, title: str, intervals: Sequence[Interval], count: int
) -> list[str]:
    if not count:
        return []
    start = found.start_us or 0
    lines = ["", f"{title}: {count}"]
    for each in intervals[:_SHOWN]:
        words = f", {each.count} rejected" if each.count else ""
        first, last = _seconds(each.start_us - start), _seconds(each.end_us - start)
        long = f"{(each.end_us - each.start_us) / 1000:g} ms"
        name = clean(found.sides[each.side].name)
        lines.append(f"  {name}: {first} s to {last} s ({long}{words})")
    return lines + _more(count, min(len(intervals), _SHOWN))


def _places(each: Undriven) -> str:
    """Return the bits as places; all of a signal as a range."""
    first, last = each.indices[0], each.indices[-1]
    if len(each.indices) > 1 and last - first + 1 == len(each.indices):
        return f"{Place.at(first)}-{Place.at(last)}"
    return ", ".join(str(Place.at(index)) for index in each.indices)


def _undriven(found: Examination, look: Look) -> list[str]:
    if not found.undriven:
        return []
    title = "Never seen in the non-safe state (what this recording has not shown)"
    rows = []
    for each in found.undriven:
        names = found.sides[each.side].name, found.sides[1 - each.side].name
        reader = "" if each.reader == each.side else f"as {names[1]} reads it"
        rows.append((f"{names[0]} -> {names[1]}", _places(each), each.signal.name, reader))
    return ["", look.paint("strong", title), *table(rows, indent="  ")]


def _verdict(found: Examination, look: Look) -> str:
    if found.stopped:
        return look.paint("error", "reading was interrupted; this is what is known so far")
    if found.is_clean:
        where = "what was judged of this recording" if found.not_judged else "this recording"
        return look.paint("good", f"nothing wrong in {where}")
    if not found.frames:
        return look.paint("error", "no frame of this connection was found")
    judged = sum(side.results.get("accepted", 0) for side in found.sides)
    if not judged:
        return look.paint("error", "no frame could be accepted")
    return look.paint("error", "this recording is not as it should be")


def document(found: Examination) -> str:
    """Return the examination as one JSON document, ASCII only, keys in a fixed order."""
    whole = {
        "format": FORMAT,
        "connection": found.connection,
        "profile": found.profile,
        "clean": found.is_clean,
        "stopped": found.stopped,
        "not_judged": list(found.not_judged),
        "packets": found.packets,
        "frames": found.frames,
        "start_us": found.start_us,
        "end_us": found.end_us,
        "watchdog_us": found.watchdog_us,
        "sides": [
            {
                "name": side.name,
                "results": {result: side.results.get(result, 0) for result in _RESULTS},
                "data_frames": side.data_frames,
                "used_frames": side.used_frames,
                "longest_gap_us": side.longest_gap_us,
            }
            for side in found.sides
        ],
        "events": {
            "count": found.event_count,
            "wrong": found.wrong_events,
            "first": [_event_json(found, each) for each in found.events],
        },
        "notes": {
            kind: {
                "count": found.notes[kind].count,
                "first": [_note_json(found, note) for note in found.notes[kind].kept],
            }
            for kind in _TITLES
            if kind in found.notes
        },
        "difference": _difference_json(found),
        "contradictions": [
            {
                "kind": each.kind,
                "sender": found.sides[each.side].name,
                "place": each.place,
                "sender_says": each.words[0],
                "receiver_says": each.words[1],
                "text": each.text,
                "count": each.count,
                "first": _note_json(found, each.first),
            }
            for each in found.oddities
        ],
        "other_readings": [
            {
                "sender": found.sides[each.side].name,
                "title": each.title,
                "explained": each.explained,
                "as_mapped": each.as_mapped,
                "frames": each.frames,
            }
            for each in found.other_readings
        ],
        "silent": _intervals_json(found, found.silent, found.silent_count),
        "noisy": _intervals_json(found, found.noisy, found.noisy_count),
        "undriven": [
            {
                "sender": found.sides[each.side].name,
                "reader": found.sides[each.reader].name,
                "signal": each.signal.name,
                "places": [str(Place.at(index)) for index in each.indices],
            }
            for each in found.undriven
        ],
        "timelines": list(_timelines_json(found)),
        "caution": CAUTION,
    }
    return json.dumps(whole, indent=2, ensure_ascii=True) + "\n"


def _event_json(found: Examination, each: Event) -> dict[str, Any]:
    return {
        "packet": each.number,
        "offset": each.offset,
        "time_us": each.time_us,
        "sender": found.sides[each.side].name,
        "kind": each.kind,
        "text": each.text,
        "wrong": each.is_wrong,
    }


def _note_json(found: Examination, note: Note) -> dict[str, Any]:
    return {
        "packet": note.number,
        "offset": note.offset,
        "time_us": note.time_us,
        "sender": None if note.side is None else found.sides[note.side].name,
        "text": note.text,
    }


def _difference_json(found: Examination) -> dict[str, Any] | None:
    difference = found.difference
    if difference is None:
        return None
    return {
        "count": difference.count,
        "first": _note_json(found, difference.note),
        "data": difference.data.hex(),
        "rows": [row._asdict() for row in difference.rows],
    }


def _intervals_json(
    found: Examination, intervals: Sequence[Interval], count: int
) -> dict[str, Any]:
    return {
        "count": count,
        "first": [
            {
                "sender": found.sides[each.side].name,
                "start_us": each.start_us,
                "end_us": each.end_us,
                "rejected": each.count,
            }
            for each in intervals
        ],
    }


def _timelines_json(found: Examination) -> Iterator[dict[str, Any]]:
    for each in found.timelines:
        yield {
            "sender": found.sides[each.side].name,
            "reader": found.sides[each.reader].name,
            "signal": each.signal.name,
            "changes": each.changes,
            "start_us": found.timeline_start_us,
            "bin_us": found.timeline_width_us,
            "bins": [
                None if each_bin is None else [_number(number) for number in each_bin]
                for each_bin in each.bins
            ],
        }


def _number(number: int | float) -> int | float | str:
    """Return a number for JSON, which knows none that is infinite or no number: those are text."""
    return number if isfinite(number) else str(number)
