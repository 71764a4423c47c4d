"""The examination of a recording, for people and as JSON for programs."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from math import isfinite
from typing import Any

from .._bits import Place
from .._words import count, milliseconds, ranges, seconds, way
from ..capture import Event, Examination, Interval, Note, SideReport, Undriven
from .document import (
    CAUTION,
    SEEN,
    Block,
    Document,
    Drawing,
    Paragraph,
    Section,
    StyledText,
    Table,
    picked,
)

FORMAT = "safeframe-capture/1"

_RESULTS = ("accepted", "repeat", "ignored", "unknown", "rejected", "foreign")
_RARE = "ignored"
"""A result that only one protocol knows: without such a frame it has no column."""
_SHOWN = 5
"""Notes of one kind that are printed; JSON holds all that were kept."""
_SHOWN_EVENTS = 12
_NUMBER_BITS = 1023
"""Integers up to here fit a double, if rounded; by choice."""
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
    "other station": "Frames of this connection from stations that --from does not name",
    "foreign": "Frames of another connection in the place of one of this",
    "foreign elsewhere": "Frames of other connections",
    "time": "Time running backwards",
}


def document(found: Examination, *, drawing: Drawing | None = None) -> Document:
    """Return everything a recording shows, what is wrong first, then what it has not shown."""
    blocks: list[Block] = [Section("", (_sides(found.sides),))]
    if drawing is not None:
        shown = (drawing, Paragraph(SEEN))
        blocks.insert(0, Section("Signals over time", shown, kind="long"))
    blocks += _events(found)
    for kind, title in _TITLES.items():
        if kind in found.notes:
            notes = found.notes[kind]
            kept = tuple(_note(found, note) for note in notes.kept[:_SHOWN])
            blocks.append(_some(f"{title}: {notes.count}", kept, notes.count))
    blocks += _difference(found)
    blocks += _oddities(found)
    blocks += _other_readings(found)
    silence = "Silence longer than the watchdog"
    blocks += _intervals(found, silence, found.silent, found.silent_count)
    blocks += _intervals(found, "Intervals with rejected frames", found.noisy, found.noisy_count)
    blocks += _undriven(found)
    if found.not_judged:
        blocks.append(Section("Not judged", tuple(map(Paragraph, found.not_judged))))
    title = _headline(found)
    return Document(title, (Paragraph(title), *blocks), verdict=_verdict(found))


def _headline(found: Examination) -> str:
    parts = [count(found.packets, "packet"), count(found.frames, "frame")]
    if found.start_us is not None and found.end_us is not None:
        parts.append(seconds(found.end_us - found.start_us))
    return f"{found.connection} ({found.profile}): {', '.join(parts)}"


def _sides(sides: Sequence[SideReport]) -> Table:
    shown = [
        result
        for result in _RESULTS
        if result != _RARE or any(result in side.results for side in sides)
    ]
    rows = []
    for side in (each for each in sides if each.sends or each.results):
        gap = "" if side.longest_gap_us is None else milliseconds(side.longest_gap_us)
        counts = (str(side.results.get(result, 0)) for result in shown)
        rows.append((side.name, *counts, str(side.data_frames), str(side.used_frames), gap))
    return Table(tuple(rows), ("sent by", *shown, "data", "used", "longest gap"))


def _events(found: Examination) -> list[Section]:
    """Return what the protocol did besides data; what is wrong is marked."""
    if not found.events:
        return []
    lines: list[Block] = []
    last = -1
    for at in _chosen_events(found.events):
        if at != last + 1:
            lines.append(Paragraph("..."))
        last = at
        each = found.events[at]
        line = f"{_at(found, each)}: {each.text}"
        lines.append(Paragraph(StyledText(f"! {line}", "error") if each.is_wrong else line))
    if found.event_count > last + 1:
        lines.append(Paragraph(f"and {found.event_count - last - 1} more"))
    return [Section(f"Events: {found.event_count}", tuple(lines), kind="long")]


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


def _oddities(found: Examination) -> list[Section]:
    if not found.oddities:
        return []
    lines = []
    for each in found.oddities:
        names = found.sides[each.side].name, found.sides[1 - each.side].name
        words = f"{names[0]} says {each.words[0]}, {names[1]} says {each.words[1]}"
        what = f"{way(*names)} {each.place}: {each.text} ({words})"
        frames = count(each.count, "frame")
        lines.append(Paragraph(f"{what}; in {frames}, the first: {_where(found, each.first)}"))
    return [Section("Data that contradict the maps", tuple(lines))]


def _other_readings(found: Examination) -> list[Section]:
    if not found.other_readings:
        return []
    title = "Other readings that contradict less (no verdict: chance explains frames, too)"
    lines = []
    for each in found.other_readings:
        name = found.sides[each.side].name
        text = f"{name}: {each.title}: {each.explained} of {count(each.frames, 'frame')} without "
        lines.append(Paragraph(f"{text}contradiction, {each.as_mapped} as the maps are"))
    return [Section(title, tuple(lines))]


def _where(found: Examination, note: Note) -> str:
    if not note.number:
        return "the whole recording"
    parts = [
        f"line {note.number}"
        if note.number == note.offset
        else f"packet {note.number} at octet {note.offset}"
    ]
    if note.time_us is not None and found.start_us is not None:
        parts.append(seconds(note.time_us - found.start_us))
    if note.side is not None:
        parts.append(found.sides[note.side].name)
    return ", ".join(parts)


def _note(found: Examination, note: Note) -> str:
    return f"{_where(found, note)}: {note.text}"


def _some(title: str, shown: tuple[str, ...], number: int) -> Section:
    """Return the points that are shown, and how many more there are."""
    more = (f"and {number - len(shown)} more",) if number > len(shown) else ()
    return Section(title, tuple(map(Paragraph, (*shown, *more))))


def _difference(found: Examination) -> list[Section]:
    difference = found.difference
    if difference is None:
        return []
    side = difference.note.side or 0
    names = found.sides[side].name, found.sides[1 - side].name
    where = f"{_where(found, difference.note)}, safety data {difference.data.hex(' ')}"
    return [
        Section(
            f"Frames that the two ends read differently: {difference.count}",
            (
                Paragraph(where, label="the first"),
                Table(
                    tuple(tuple(row) for row in difference.rows),
                    ("signal", f"{names[0]} sends", f"{names[1]} reads"),
                ),
            ),
        )
    ]


def _intervals(
    found: Examination, title: str, intervals: Sequence[Interval], number: int
) -> list[Section]:
    if not number:
        return []
    start = found.start_us or 0
    lines = []
    for each in intervals[:_SHOWN]:
        words = f", {each.count} rejected" if each.count else ""
        first, last = seconds(each.start_us - start), seconds(each.end_us - start)
        long = milliseconds(each.end_us - each.start_us)
        lines.append(f"{found.sides[each.side].name}: {first} to {last} ({long}{words})")
    return [_some(f"{title}: {number}", tuple(lines), number)]


def _places(each: Undriven) -> str:
    """Return bits as places; those that follow each other as a range."""
    shown = []
    for run in ranges(sorted(each.indices)):
        first, last = Place.at(run[0]), Place.at(run[-1])
        shown.append(str(first) if len(run) == 1 else f"{first}-{last}")
    return ", ".join(shown)


def _undriven(found: Examination) -> list[Section]:
    if not found.undriven:
        return []
    rows = []
    for each in found.undriven:
        names = found.sides[each.side].name, found.sides[1 - each.side].name
        reader = "" if each.reader == each.side else f"as {names[1]} reads it"
        rows.append((way(*names), _places(each), each.signal.name, reader))
    title = "Never seen in the non-safe state (what this recording has not shown)"
    head = ("direction", "places", "signal", "reader")
    return [Section(title, (Table(tuple(rows), head, bare=True),), kind="long")]


def _verdict(found: Examination) -> StyledText:
    if found.stopped:
        return StyledText("reading was interrupted; this is what is known so far", "error")
    if found.is_clean:
        if found.is_whole:
            return StyledText("nothing wrong in this recording", "good")
        told = "what was judged is as it should be; not everything was judged"
        if found.unproven:
            told += f": no checksum covers the data of {count(found.unproven, 'frame')}"
        return StyledText(told, "good")
    if not found.frames:
        return StyledText("no frame of this connection was found", "error")
    judged = sum(side.results.get("accepted", 0) for side in found.sides)
    if not judged:
        return StyledText("no frame could be accepted", "error")
    return StyledText("this recording is not as it should be", "error")


def json_text(found: Examination) -> str:
    """Return the examination as one JSON document, ASCII only, keys in a fixed order."""
    whole = {
        "format": FORMAT,
        "connection": found.connection,
        "profile": found.profile,
        "clean": found.is_clean,
        "whole": found.is_whole,
        **picked(found, "stopped not_judged packets frames start_us end_us watchdog_us"),
        "sides": [
            {
                "name": side.name,
                "results": {result: side.results.get(result, 0) for result in _RESULTS},
                **picked(side, "data_frames used_frames longest_gap_us"),
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
                **picked(each, "title explained as_mapped frames"),
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
            "names": list(each.names),
            "changes": each.changes,
            "start_us": found.timeline_start_us,
            "bin_us": found.timeline_width_us,
            "bins": [
                None if each_bin is None else [json_number(number) for number in each_bin]
                for each_bin in each.bins
            ],
        }


def json_number(number: int | float) -> int | float | str:
    """Return a number for JSON, which knows none that is infinite or no number: those are text.

    So are integers of more bits than any program takes for a number, in hexadecimal.
    """
    if isinstance(number, float):
        return number if isfinite(number) else str(number)
    return number if number.bit_length() <= _NUMBER_BITS else f"{number:#x}"
