"""Frames and CRCs for people and for programs."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from .text import CAUTION, PLAIN, Look, table

if TYPE_CHECKING:  # only the names: a CRC alone needs no frame.
    from .._codec import Reading
    from ..crc import Algorithm
    from ..frame import Cover, Inspection, Value

__all__ = [
    "BENCH_ONLY",
    "algorithms",
    "built_json",
    "crc_json",
    "crc_text",
    "inspection",
    "inspection_json",
    "record",
    "values",
]

BENCH_ONLY = "Generated frames are for benches and simulators only, never for a running machine."
_RESULT_COLORS = {"passed": "good", "failed": "error", "unknown": "warning", "not reached": "note"}


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


def algorithms(entries: Iterable[Algorithm]) -> str:
    """Return the catalogue as a table."""
    rows: list[Sequence[str]] = [
        ("name", "width", "polynomial", "init", "reflected", "xor out", "check", "source")
    ]
    for entry in entries:
        width = entry.width
        check = "" if entry.check is None else _hex(entry.check, width)
        numbers = (_hex(value, width) for value in (entry.poly, entry.init))
        reflected = "yes" if entry.refin else "no"
        tail = _hex(entry.xorout, width), check, entry.source
        rows.append((entry.name, str(width), *numbers, reflected, *tail))
    return "\n".join(table(rows)) + "\n"


def _algorithm_json(algorithm: Algorithm) -> dict[str, Any]:
    return {
        "name": algorithm.name,
        "width": algorithm.width,
        "poly": algorithm.poly,
        "init": algorithm.init,
        "refin": algorithm.refin,
        "refout": algorithm.refout,
        "xorout": algorithm.xorout,
        "check": algorithm.check,
        "residue": algorithm.residue,
        "source": algorithm.source,
    }


def crc_text(
    algorithm: Algorithm, octets: bytes, crc: int, steps: Sequence[int] | None = None
) -> str:
    """Return a CRC as text; with ``steps``, the CRC after each octet, the octets in order."""
    out = [_hex(crc, algorithm.width)]
    if steps is not None:
        out += [record(algorithm), f"source: {algorithm.source or 'none given'}"]
        out += [f"octets covered, in this order: {len(octets)}"]
        rows = [("offset", "octet", "CRC so far")]
        pairs = enumerate(zip(octets, steps, strict=True))
        rows += [
            (str(at), f"{octet:02x}", _hex(step, algorithm.width)) for at, (octet, step) in pairs
        ]
        out += table(rows, indent="  ")
    return "\n".join(out) + "\n"


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


def values(entries: Iterable[Value]) -> str:
    """Return the values of a profile's frames as a table."""
    rows: list[Sequence[str]] = [("value", "on the wire", "range", "default", "meaning")]
    for entry in entries:
        if entry.words:
            span = " | ".join(entry.words)
        elif entry.octets is not None:
            span = "octets" if entry.octets < 0 else f"{entry.octets} octets"
        else:
            span = f"{entry.least}..{entry.most}"
        default = entry.default
        text = default.hex() if isinstance(default, bytes) else default
        carried = "yes" if entry.carried else "no"
        shown = "" if text is None else str(text)
        rows.append((entry.name, carried, span, shown, entry.meaning))
    return "\n".join(table(rows)) + "\n"


def _cover_lines(cover: Cover) -> list[str]:
    width = cover.algorithm.width
    computed = "not computed" if cover.computed is None else _hex(cover.computed, width)
    lines = [
        f"{cover.name}: carried {_hex(cover.carried, width)}, computed {computed}",
        f"  {record(cover.algorithm)}",
    ]
    if cover.unknown:
        lines.append(f"  {cover.unknown}")
    if cover.init != cover.algorithm.init:
        lines.append(f"  start register {_hex(cover.init, width)}")
    rows = [(name, _spaced(run) or "(not known)") for name, run in cover.feeds]
    return lines + table(rows, indent="    ")


def inspection(
    seen: Inspection,
    *,
    look: Look = PLAIN,
    readings: Mapping[str, Reading] | None = None,
    covers: bool = True,
) -> str:
    """Return the explanation of a frame; ``readings`` are the signals of a map."""
    kind = f"{seen.kind} frame" if seen.kind else "no frame"
    out = [look.paint("strong", f"{seen.profile}: {kind}, {len(seen.octets)} octets"), ""]
    rows: list[Sequence[str]] = [("offset", "octets", "part", "meaning")]
    for part in seen.parts:
        shown = _spaced(part.octets[:16]) + (" ..." if len(part.octets) > 16 else "")
        rows.append((str(part.offset), shown, part.name, part.meaning))
    out += [*table(rows), ""]
    if readings:
        named = [(name, found.text) for name, found in readings.items()]
        out += [*table([("signal", "meaning"), *named]), ""]
    verdicts = [(found.check, found.result, found.text or found.title) for found in seen.verdicts]
    lines = table([("check", "result", "about"), *verdicts])
    out.append(lines[0])
    for line, found in zip(lines[1:], seen.verdicts, strict=True):
        color = _RESULT_COLORS[found.result]
        out.append(line.replace(found.result, look.paint(color, found.result), 1))
    if covers:
        for cover in seen.covers:
            out += ["", *_cover_lines(cover)]
    color = "good" if seen.accepted else "error"
    return "\n".join([*out, "", look.paint(color, seen.summary), "", CAUTION]) + "\n"


def _carried(given: Mapping[str, Any]) -> dict[str, Any]:
    return {
        name: value.hex() if isinstance(value, bytes) else value for name, value in given.items()
    }


def inspection_json(seen: Inspection, readings: Mapping[str, Reading] | None = None) -> str:
    """Return the explanation of a frame as a JSON document."""
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
        "verdicts": [
            {
                "check": found.check,
                "title": found.title,
                "result": found.result,
                "text": found.text,
            }
            for found in seen.verdicts
        ],
        "crcs": [
            {
                "name": cover.name,
                "algorithm": _algorithm_json(cover.algorithm),
                "init": cover.init,
                "feeds": [{"name": name, "octets": run.hex()} for name, run in cover.feeds],
                "carried": cover.carried,
                "computed": cover.computed,
                "unknown": cover.unknown,
            }
            for cover in seen.covers
        ],
    }
    if readings is not None:
        document["signals"] = {
            name: {"raw": found.raw, "meaning": found.text} for name, found in readings.items()
        }
    return _dump(document | {"caution": CAUTION})


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
