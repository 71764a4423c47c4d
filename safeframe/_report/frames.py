"""Frames and CRCs, for people and as JSON for programs."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from .._words import count
from .document import CAUTION, Block, Document, Facts, Paragraph, Section, StyledText, Table, picked

if TYPE_CHECKING:  # only the names: a CRC alone needs no frame.
    from .._codec import Reading
    from ..crc import Algorithm
    from ..frame import Cover, Inspection, Value

BENCH_ONLY = "Generated frames are for benches and simulators only, never for a running machine."
_LOOKS = {"passed": "good", "failed": "error", "unknown": "warning", "not reached": "note"}


def _hex(value: int, width: int) -> str:
    return f"0x{value:0{width // 4}X}"


def _spaced(octets: bytes) -> str:
    return octets.hex(" ")


def record(algorithm: Algorithm) -> str:
    """Return the record of a CRC in one line."""
    width = algorithm.width
    reflect = "reflected" if algorithm.refin else "not reflected"
    return (
        f"{algorithm.name}: width {width}, polynomial {_hex(algorithm.poly, width)}, "
        f"init {_hex(algorithm.init, width)}, {reflect}, xor out {_hex(algorithm.xorout, width)}"
    )


def algorithms(entries: Iterable[Algorithm]) -> Document:
    """Return the catalogue: parameters, check value and source of each algorithm."""
    rows = tuple((entry.name, _described(entry)) for entry in entries)
    return Document("CRC algorithms", (Facts(rows),), footer=())


def _described(given: Algorithm) -> str:
    words = record(given).partition(": ")[2]
    check = "" if given.check is None else f", check value {_hex(given.check, given.width)}"
    return f"{words}{check}; {given.source}"


def _algorithm_json(algorithm: Algorithm) -> dict[str, Any]:
    return picked(algorithm, "name width poly init refin refout xorout check residue source")


def crc_steps(algorithm: Algorithm, octets: bytes, crc: int, steps: Sequence[int]) -> Document:
    """Return a CRC with its parameters and the CRC after each octet, the octets in order."""
    rows = tuple(
        (str(at), f"{octet:02x}", _hex(step, algorithm.width))
        for at, (octet, step) in enumerate(zip(octets, steps, strict=True))
    )
    return Document(
        crc_text(algorithm, crc),
        (
            Paragraph(record(algorithm)),
            Paragraph(algorithm.source or "none given", label="source"),
            Paragraph(str(len(octets)), label="octets covered, in this order"),
            Table(rows, ("offset", "octet", "CRC so far")),
        ),
        footer=(),
    )


def crc_text(algorithm: Algorithm, crc: int) -> str:
    """Return a CRC as text, in as many digits as its width has."""
    return _hex(crc, algorithm.width)


def crc_json(
    algorithm: Algorithm, octets: bytes, crc: int, steps: Sequence[int] | None = None
) -> str:
    """Return a CRC as a JSON document."""
    document: dict[str, Any] = {
        "format": "safeframe-crc/1",
        "algorithm": _algorithm_json(algorithm),
        "octets": octets.hex(),
        "crc": crc,
        "hex": _hex(crc, algorithm.width),
    }
    if steps is not None:
        document["steps"] = list(steps)
    return _dump(document)


def values(profile: str, entries: Iterable[Value]) -> Document:
    """Return the values of a profile's frames as a table."""
    head = ("value", "on the wire", "range", "default", "meaning")
    rows = tuple(map(_value, entries))
    return Document(f"Values of the frames of {profile}", (Table(rows, head),), footer=())


def _value(entry: Value) -> tuple[str, ...]:
    if entry.words:
        span = " | ".join(entry.words)
    elif entry.octets is not None:
        span = "octets" if entry.octets < 0 else count(entry.octets, "octet")
    else:
        span = f"{entry.least}..{entry.most}"
    default = entry.default
    text = default.hex() if isinstance(default, bytes) else default
    carried = "yes" if entry.carried else "no"
    return entry.name, carried, span, "" if text is None else str(text), entry.meaning


def _cover(cover: Cover) -> Section:
    width = cover.algorithm.width
    computed = "not computed" if cover.computed is None else _hex(cover.computed, width)
    blocks: list[Block] = [Paragraph(record(cover.algorithm))]
    if cover.unknown:
        blocks.append(Paragraph(cover.unknown))
    if cover.init != cover.algorithm.init:
        blocks.append(Paragraph(f"start register {_hex(cover.init, width)}"))
    fed = tuple(
        (name, StyledText(_spaced(run), "code") if run else "(not known)")
        for name, run in cover.feeds
    )
    blocks.append(Facts(fed))
    title = f"{cover.name}: carried {_hex(cover.carried, width)}, computed {computed}"
    return Section(title, tuple(blocks))


def inspection(
    seen: Inspection,
    *,
    readings: Mapping[str, Mapping[str, Reading]] | None = None,
    covers: bool = True,
    notes: Sequence[str] = (),
) -> Document:
    """Return the explanation of a frame.

    ``readings`` are the signals of maps by the name of their end, ``notes`` what is said first.
    """
    kind = f"{seen.kind} frame" if seen.kind else "no frame"
    parts = []
    for part in seen.parts:
        shown = _spaced(part.octets[:16]) + (" ..." if len(part.octets) > 16 else "")
        parts.append((str(part.offset), shown, part.name, part.meaning))
    verdicts = tuple(
        (found.check, found.result, found.text or found.title) for found in seen.verdicts
    )
    looks = tuple(_LOOKS[found.result] for found in seen.verdicts)
    title = f"{seen.profile}: {kind}, {count(len(seen.octets), 'octet')}"
    return Document(
        title,
        (
            *(Paragraph(StyledText(note, "error")) for note in notes),
            Section(title, (Table(tuple(parts), ("offset", "octets", "part", "meaning")),)),
            *([Section("Signals", (_signals(readings),))] if readings else []),
            Section("Checks", (Table(verdicts, ("check", "result", "about"), looks=looks),)),
            *(map(_cover, seen.covers) if covers else ()),
        ),
        verdict=StyledText(seen.summary, "good" if seen.accepted else "error"),
    )


def _signals(readings: Mapping[str, Mapping[str, Reading]]) -> Table:
    """Return what each end understands, side by side where there are two; differences marked."""
    ends = list(readings.values())
    if len(ends) == 1:
        named = tuple((name, found.text) for name, found in ends[0].items())
        return Table(named, ("signal", "meaning"))
    rows = []
    marked = differing(*ends)
    for name in dict.fromkeys(name for end in ends for name in end):
        texts = [end[name].text if name in end else "not in the map" for end in ends]
        rows.append((name, *texts, "differs" if name in marked else ""))
    return Table(tuple(rows), ("signal", *readings, ""))


def _carried(given: Mapping[str, Any]) -> dict[str, Any]:
    return {
        name: value.hex() if isinstance(value, bytes) else value for name, value in given.items()
    }


def differing(one: Mapping[str, Reading], two: Mapping[str, Reading]) -> frozenset[str]:
    """Return the signals that two ends understand differently, or that only one of them has."""
    return frozenset(
        name
        for name in {**one, **two}
        if name not in one
        or name not in two
        or (one[name].text != two[name].text and _form(one[name]) != _form(two[name]))
    )


def _form(found: Reading) -> str:
    """Return what a signal means as it is compared: a scale of 1.0 says no other than one of 1."""
    from .._canonical import form  # deferred: most rows need none.
    from .._codec import meaning

    if found.raw is None:
        return found.text
    fields = {name: form(found.signal, name) for name in ("scale", "unit", "one_means", "codes")}
    remark = found.text.removeprefix(meaning(found.signal, found.raw))
    return meaning(replace(found.signal, **fields), found.raw) + remark


def inspection_json(
    seen: Inspection,
    readings: Mapping[str, Mapping[str, Reading]],
    *,
    notes: Sequence[str] = (),
) -> str:
    """Return the explanation of a frame as a JSON document; ``readings`` are by end."""
    document: dict[str, Any] = {
        "format": "safeframe-frame/1",
        "profile": seen.profile,
        "kind": seen.kind,
        "octets": seen.octets.hex(),
        "accepted": seen.accepted,
        "summary": seen.summary,
        "values": _carried(seen.values),
        "parts": [
            {
                "name": part.name,
                "offset": part.offset,
                "octets": part.octets.hex(),
                "meaning": part.meaning,
            }
            for part in seen.parts
        ],
        "verdicts": [picked(found, "check title result text") for found in seen.verdicts],
        "crcs": [
            {
                "name": cover.name,
                "algorithm": _algorithm_json(cover.algorithm),
                "init": cover.init,
                "feeds": [{"name": name, "octets": run.hex()} for name, run in cover.feeds],
                **picked(cover, "carried computed unknown"),
            }
            for cover in seen.covers
        ],
    }
    if notes:
        document["notes"] = list(notes)
    read = [{"name": name, "signals": _signals_json(found)} for name, found in readings.items()]
    if read:
        document["signals"] = read[0]["signals"]
    if len(read) > 1:
        marked = differing(*readings.values())
        names = dict.fromkeys(name for found in readings.values() for name in found)
        document |= {"ends": read, "differs": [name for name in names if name in marked]}
    return _dump(document | {"caution": CAUTION})


def _signals_json(read: Mapping[str, Reading]) -> dict[str, dict[str, Any]]:
    return {name: {"raw": found.raw, "meaning": found.text} for name, found in read.items()}


def built_json(profile: str, octets: bytes, given: Mapping[str, Any]) -> str:
    """Return a built frame as a JSON document."""
    document = {
        "format": "safeframe-built/1",
        "profile": profile,
        "octets": octets.hex(),
        "values": _carried(given),
        "caution": f"{BENCH_ONLY} {CAUTION}",
    }
    return _dump(document)


def _dump(document: Mapping[str, Any]) -> str:
    # ASCII only: no terminal or log is handed a control or escape character.
    return json.dumps(document, indent=2, ensure_ascii=True) + "\n"
