"""Make ``vectors/derived`` and ``vectors/README.md``; run it to write them.

The answers come from the package; ``tests/unit/test_vectors.py`` computes every one of them again
with second implementations that share no code with it. What is in ``vectors/published`` is never
written here.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from safeframe import cases, frame
from safeframe import protocols as profiles
from safeframe._errors import FrameError
from safeframe.cases import Case, CaseFile, Origin
from safeframe.protocols.en50325_5 import _checksum as config
from safeframe.protocols.opcua_safety import _frame as opcua
from safeframe.protocols.opcua_safety._ids import MEMBERS

VECTORS = Path(__file__).parents[2] / "vectors"
SEED = 61784

_COMPUTED = Origin(
    document="computed by this package",
    clause="tests/generators/vectors.py",
    confidence="every answer computed again by a second implementation in the tests",
)


def _text(values: dict[str, Any]) -> dict[str, Any]:
    return {
        name: value.hex() if isinstance(value, bytes) else value for name, value in values.items()
    }


class _Maker:
    """Builds cases of one profile: good frames, and each fault with the check that finds it."""

    def __init__(self, profile: str) -> None:
        self.profile = profile
        self.draw = random.Random(f"{SEED} {profile}")
        self.known = {rule.name for rule in frame.values(profile) if not rule.carried or rule.words}

    def good(self, case_id: str, note: str = "", **values: Any) -> Case:
        return Case(
            id=case_id,
            subject="frame",
            inputs=_text(values),
            octets=frame.build(self.profile, **values),
            verdict="accept",
            note=note,
        )

    def bad(self, case_id: str, fault: str, octets: bytes, *, note: str = "", **known: Any) -> Case:
        """Return a faulty frame with the verdict that the package gives."""
        verdict, check = "undetected", ""
        try:
            frame.verify(self.profile, octets, **known)
        except FrameError as error:
            verdict, check = "reject", error.check
        return Case(
            id=case_id,
            subject="frame",
            inputs=_text(known),
            octets=octets,
            verdict=verdict,
            check=check,
            fault=fault,
            note=note,
        )

    def common(self, prefix: str, octets: bytes, **known: Any) -> Iterator[Case]:
        """Yield faults that every profile must find in a good frame."""
        flipped = bytearray(octets)
        flipped[0] ^= 1
        yield self.bad(f"{prefix}-first-bit", "corruption", bytes(flipped), **known)
        flipped = bytearray(octets)
        flipped[-1] ^= 0x80
        yield self.bad(f"{prefix}-last-bit", "corruption", bytes(flipped), **known)
        yield self.bad(f"{prefix}-short", "truncation", octets[:-1], **known)
        yield self.bad(f"{prefix}-long", "extension", octets + b"\0", **known)


def fscp_12_1() -> tuple[Case, ...]:
    make = _Maker("fscp-12-1")
    rows = []
    for size in (1, 2, 4, 6, 8, 12, 28, 126):
        history: dict[str, Any] = {"connection_id": 0x0107, "peer_crc0": make.draw.randrange(65536)}
        history["sequence"] = make.draw.choice((1, 2, 255, 256, 65535))
        data = make.draw.randbytes(size)
        rows.append(make.good(f"data-{size}", command=0x36, data=data, **history))
        rows.append(make.good(f"fail-safe-{size}", command=0x08, data=bytes(size), **history))
    history = {"connection_id": 0x0107, "peer_crc0": 0x3CCB, "sequence": 4}
    good = frame.build("fscp-12-1", data=bytes.fromhex("01000000"), **history)
    rows += make.common("data-4", good, **history)
    for name, fault, change in (
        ("late", "wrong sequence", {"sequence": 3}),
        ("lost", "loss", {"peer_crc0": 0x3CCC}),
        ("other", "wrong connection", {"connection_id": 0x0207}),
    ):
        rows.append(make.bad(f"data-4-{name}", fault, good, **history | change))
    note = "at least 6 flipped bits in one block, still valid: the CRC cannot find it"
    base: dict[str, Any] = {"connection_id": 7, "peer_crc0": 0x3E6F, "sequence": 4}
    head, tail = "36011beeb31020cb023040", "8e1f506057de7080042511"
    rows.append(
        make.bad(
            "undetected-block-0",
            "corruption",
            bytes.fromhex(f"{head}{tail}2254430700"),
            note=note,
            **base,
        )
    )
    rows.append(
        make.bad(
            "undetected-block-5",
            "corruption",
            bytes.fromhex("36011f79531020cb023040") + bytes.fromhex(f"{tail}26c3a30700"),
            note=note,
            **base,
        )
    )
    return tuple(rows)


def fscp_13_1() -> tuple[Case, ...]:
    make = _Maker("fscp-13-1")
    rows = []
    settings: dict[str, Any] = {"address": 0x123, "domain": 0x101, "consecutive_time": 0xA55A}
    manager = bytes.fromhex("0060650012ab")
    for size in (0, 1, 4, 8, 9, 16, 64, 254):
        data = bytes(0x11 + at & 255 for at in range(size))
        rows.append(make.good(f"data-{size}", id=49, data=data, manager_id=bytes(6), **settings))
        rows.append(make.good(f"manager-{size}", id=48, data=data, manager_id=manager, **settings))
        slim: dict[str, Any] = {"id": 58, "target": 1, "request": 1, "manager_id": manager}
        rows.append(make.good(f"slim-{size}", data=data, **slim, **settings))
    asked: dict[str, Any] = {"id": 50, "target": 0x45, "request": 0x15, "manager_id": bytes(6)}
    rows.append(make.good("time-request-4", data=bytes(4), **asked, **settings))
    known: dict[str, Any] = {"domain": 0x101, "manager_id": manager}
    good = frame.build("fscp-13-1", data=bytes(range(9)), manager_id=manager, **settings)
    rows += make.common("data-9", good, **known)
    rows.append(make.bad("domain", "wrong connection", good, **known | {"domain": 0x102}))
    other: dict[str, Any] = {"manager_id": bytes.fromhex("0060650012ac")}
    rows.append(make.bad("manager", "wrong connection", good, **known | other))
    copies = bytearray(good)
    copies[4] ^= 1
    rows.append(make.bad("copy-1", "corruption", bytes(copies), **known))
    slim_good = frame.build(
        "fscp-13-1", data=bytes(40), id=58, target=1, manager_id=manager, **settings
    )
    far = bytearray(slim_good)
    far[4] ^= 0x80
    far[4 + 32] ^= 0x40
    note = "two flipped bits 257 apart: the order of polynomial 0x5935 is 257"
    rows.append(make.bad("slim-257-apart", "corruption", bytes(far), note=note, **known))
    return tuple(rows)


def fscp_2_1() -> tuple[Case, ...]:
    make = _Maker("fscp-2-1")
    origin: dict[str, Any] = {
        "vendor_id": 0x1001,
        "device_serial": 0x11223344,
        "connection_serial": 0x0C01,
    }
    target: dict[str, Any] = {
        "vendor_id": 0x2002,
        "device_serial": 0x55667788,
        "connection_serial": 0x0D02,
    }
    rows = []
    for style in ("base", "extended"):
        rolled: dict[str, Any] = {"rollover": 7} if style == "extended" else {}
        sender: dict[str, Any] = {"format": style, "mode": 0x86, **rolled, **target}
        for size in (1, 2, 3, 6, 250):
            stamp, data = 65000 + size, make.draw.randbytes(size)
            rows += [make.good(f"{style}-{size}", data=data, time_stamp=stamp, **sender)]
        stamped: dict[str, Any] = {"ack": 0x0A, "consumer_time": 900}
        rows.append(make.good(f"{style}-time", format=style, **stamped, **origin))
        known: dict[str, Any] = {"format": style, **rolled, **target}
        good = frame.build("fscp-2-1", data=b"\1\2\3\4", time_stamp=7, mode=0x86, **known)
        rows += make.common(f"{style}-4", good, **known)
        rows.append(make.bad(f"{style}-identity", "masquerade", good, **known | origin))
        second = bytearray(good)
        second[7] ^= 1
        rows.append(make.bad(f"{style}-copy-2", "corruption", bytes(second), **known))
        if rolled:
            stale: dict[str, Any] = known | {"rollover": 8}
            rows.append(make.bad("extended-rollover", "wrong sequence", good, **stale))
    known = {"format": "extended", "rollover": 7, **target}
    ping = bytearray(frame.build("fscp-2-1", data=b"\1", time_stamp=7, mode=0x86, **known))
    ping[1] ^= 1
    note = "the ping count of a short extended frame is covered by no CRC"
    rows.append(make.bad("extended-1-ping", "corruption", bytes(ping), note=note, **known))
    return tuple(rows)


def fscp_3_1() -> tuple[Case, ...]:
    make = _Maker("fscp-3-1")
    rows = []
    for size in range(13):
        number = make.draw.choice((0, 1, 255, 256, 65536, (1 << 24) - 1))
        hidden: dict[str, Any] = {"number": number, "parameter_crc": 0x22FF}
        data = make.draw.randbytes(size)
        rows.append(make.good(f"data-{size}", status=number % 2 * 0x20, data=data, **hidden))
    known: dict[str, Any] = {"number": 5, "parameter_crc": 0x22FF}
    good = frame.build("fscp-3-1", data=b"\1\2\3\4", status=0x20, **known)
    rows += make.common("data-4", good, **known)
    rows.append(make.bad("late", "wrong sequence", good, **known | {"number": 4}))
    other: dict[str, Any] = {"parameter_crc": 0x22FE}
    rows.append(make.bad("parameters", "wrong connection", good, **known | other))
    return tuple(rows)


def opcua_safety() -> tuple[Case, ...]:
    make = _Maker("opcua-safety")
    rows = []
    every = tuple(member.type_id for member in MEMBERS.values())
    structures: tuple[tuple[str, tuple[int, ...]], ...] = (
        ("Hubhöhe", (4, 1, 10)),
        ("foo", (4, 1, 10)),
        ("vec3D_m", (10, 10, 10)),
        ("vec3D_in", (10, 10, 10)),
        ("orientation", (10, 10, 10)),
        ("All", every),
    )
    for name, type_ids in structures:
        rows.append(
            Case(
                id=f"signature-{name}",
                subject="structure signature",
                inputs={"identifier": name, "type_ids": ",".join(map(str, type_ids))},
                result=(opcua.structure_signature(name, type_ids),),
            )
        )
    base, signature = "72962b91-fa75-4ae6-8d28-b404dc7daf63", 0xE2E86173
    for level in (1, 2, 3, 4):
        for provider_id in (0x2A, 0x10001234):
            words = {"level": level, "signature": signature, "provider_id": provider_id}
            rows.append(
                Case(
                    id=f"ids-{level}-{provider_id}",
                    subject="spdu ids",
                    inputs={"base_id": base, **words},
                    result=opcua.spdu_ids(base_id=base, **words),
                )
            )
    ids = opcua.spdu_ids(base_id=base, level=3, signature=signature, provider_id=0x2A)
    known: dict[str, Any] = {f"spdu_id_{place}": word for place, word in enumerate(ids, 1)}
    known |= {"consumer_id": 0x12345678, "monitoring_number": 0x100}
    data = bytes.fromhex("2efb010000c03f")
    rows.append(make.good("response-7", data=data, flags=0, **known))
    again: dict[str, Any] = known | {"monitoring_number": 0x101}
    rows.append(make.good("response-7-ack", data=data, flags=1, **again))
    last: dict[str, Any] = known | {"monitoring_number": 0xFFFFFFFF}
    rows.append(make.good("response-7-fail-safe", data=bytes(7), flags=2, **last))
    wide = bytes.fromhex("feffffff030000000400fbff01")
    rows.append(make.good("response-13", data=wide, flags=0, **known))
    for size in (1, 8, 100, 1500):
        rows += [make.good(f"response-{size}", data=make.draw.randbytes(size), **known)]
    request: dict[str, Any] = {"consumer_id": 0x12345678, "monitoring_number": 0x100}
    rows.append(make.good("request", flags=2, **request))
    good = frame.build("opcua-safety", data=data, **known)
    rows += make.common("response-7", good, **known)
    rows.append(make.bad("response-7-late", "wrong sequence", good, **again))
    other: dict[str, Any] = known | {"consumer_id": 0x12345679}
    rows.append(make.bad("response-7-consumer", "wrong connection", good, **other))
    rows.append(make.bad("response-all-zero", "insertion", bytes(32), **known))
    return tuple(rows)


def en50325_5() -> tuple[Case, ...]:
    make = _Maker("en50325-5")
    rows = []
    for size in range(9):
        node = make.draw.randrange(1, 65)
        known: dict[str, Any] = {"identifier_1": 0xFF + 2 * node, "identifier_2": 0x100 + 2 * node}
        rows.append(make.good(f"pair-{size}", data=make.draw.randbytes(size), **known))
    known = {"identifier_1": 0x111, "identifier_2": 0x112}
    good = frame.build("en50325-5", data=bytes.fromhex("34125a"), **known)
    rows += make.common("pair-3", good, **known)
    wrong = bytearray(good)
    wrong[3] ^= 1
    rows.append(make.bad("not-inverted", "corruption", bytes(wrong), **known))
    both = bytearray(good)
    both[3] ^= 1
    both[9] ^= 1
    note = "the same bit in both messages, each with its own CRC of CAN: nothing else is there"
    rows.append(make.bad("both-copies", "corruption", bytes(both), note=note, **known))
    rows.append(make.bad("too-short", "truncation", good, **known, mapped_octets=4))
    rows.append(make.bad("other", "wrong connection", good, identifier_1=0x113))
    for measured, limit in (("cycle_ms", "sct_ms"), ("validation_ms", "srvt_ms")):
        late: dict[str, Any] = {measured: 21, limit: 20}
        rows.append(make.bad(f"late-{limit}", "delay", good, **known, **late))
    for number in range(12):
        entries, bits = [], 0
        for place in range(make.draw.randrange(1, 9)):
            width = make.draw.choice((8, 16))
            if bits + width <= 64:
                bits += width
                entries += [f"6000{place + 1:02x}{width:02x}", f"6001{place + 1:02x}{width:02x}"]
        first = 0xFF + 2 * make.draw.randrange(1, 65)
        inputs: dict[str, Any] = {
            "direction": make.draw.choice(("send", "receive")),
            "sct_ms": make.draw.choice((25, 50, 100)),
            "srvt_ms": make.draw.choice((5, 10, 20)),
            "identifier_1": first,
            "identifier_2": first + 1,
            "entries": " ".join(entries),
        }
        covered = config.steps(**inputs | {"entries": config.entries_of(inputs["entries"])})
        rows.append(
            Case(
                id=f"checksum-{number}",
                subject="configuration checksum",
                inputs=inputs,
                octets=b"".join(part for _, part in covered),
                result=(config.checksum(covered),),
            )
        )
    return tuple(rows)


MAKERS = {
    "en50325-5": en50325_5,
    "fscp-12-1": fscp_12_1,
    "fscp-13-1": fscp_13_1,
    "fscp-2-1": fscp_2_1,
    "fscp-3-1": fscp_3_1,
    "opcua-safety": opcua_safety,
}


def derived() -> dict[str, CaseFile]:
    """Return the derived files by name."""
    return {
        f"{name}.json": CaseFile(
            kind="derived",
            profile=name,
            title=f"Frames and faults of {profiles.load(name).title.partition(' (')[0]}",
            origin=_COMPUTED,
            cases=make(),
        )
        for name, make in MAKERS.items()
    }


def readme() -> str:
    """Return the text of ``vectors/README.md`` for the files that are there."""
    out = [
        "# Vectors",
        "",
        "<!-- Generated by tests/generators/vectors.py; do not edit. -->",
        "",
        "`published` holds only answers that someone else printed, each file with its source.",
        "`recorded` holds what a program of somebody else sent or answered, seen by us.",
        "`derived` holds answers computed here; the tests compute every one of them again with",
        "second implementations that share no code with the package. A derived answer proves",
        "that two implementations read the same rules alike, not that the rules are right.",
        "",
        "The format is described by `safeframe/schemas/cases.schema.json` and read by",
        "`safeframe.cases.load`. Octets are hexadecimal. `inputs` of a frame are the values of",
        "`frame.build` and `frame.verify`; `verdict` is what a receiver with these inputs says,",
        "`check` the check that says so. `undetected` marks a fault that no check can find.",
        "",
    ]
    for kind in ("published", "recorded", "derived"):
        out += [f"## {kind}", "", "| file | cases | what | source |", "|---|---|---|---|"]
        for path in sorted((VECTORS / kind).glob("*.json")):
            found = cases.load(path)
            origin = found.origin
            parts = (origin.document, origin.edition, origin.clause, origin.confidence)
            source = "; ".join(part for part in parts if part)
            link = f"[{path.name}]({kind}/{path.name})"
            out.append(f"| {link} | {len(found.cases)} | {found.title} | {source} |")
        out.append("")
    out += ["## What is missing", ""]
    for name in profiles.names():
        profile = profiles.load(name)
        for text in profile.notes + profile.not_offered:
            if "published" in text or "vector" in text:
                out.append(f"- {profile.name}: {text}")
    return "\n".join(out) + "\n"


def main() -> None:
    """Write the derived files and the README."""
    for name, file in derived().items():
        cases.save(file, VECTORS / "derived" / name)
    (VECTORS / "README.md").write_text(readme(), encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()
