"""Files of fixtures: every format holds the same frames and the banner."""

from __future__ import annotations

import builtins
import io
import json
import re
import shutil
import subprocess
from dataclasses import replace
from importlib.resources import files
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from safeframe import cases, fixtures
from safeframe._errors import UsageError
from safeframe._link import Link
from safeframe.capture import Packet, read_recording
from safeframe.fixtures import BANNER, FORMATS
from safeframe.protocols.fscp_2_1._packet import PACKET

from .links import CASES, make

TITLE = "SC1-LX: test"
PLACE = {"fscp-13-1": 14, "fscp-2-1": 18}


def written(link: Link, format: str, kind: str = "faults") -> bytes:  # noqa: A002
    sets = fixtures.make(link, kind, seed=1)
    return fixtures.write(sets, link, format, title=TITLE)


@pytest.mark.parametrize("case", CASES, ids=str)
@pytest.mark.parametrize("format", ["hex", "jsonl", "pcapng"])
def test_what_is_written_can_be_read_again(
    case: tuple[str, int, int, dict[str, Any]],
    format: str,  # noqa: A002
) -> None:
    link = make(*case)
    steps = [step for each in fixtures.make(link, "faults", seed=1) for step in each.steps]
    packets = list(read_recording(io.BytesIO(written(link, format))))
    assert len(packets) == len(steps)
    place = PLACE.get(link.profile, 0) if format == "pcapng" else 0
    for packet, step in zip(packets, steps, strict=True):
        assert isinstance(packet, Packet)
        assert packet.octets[place:] == step.octets
        if format == "pcapng":
            assert packet.source.endswith(str(1 + link.order.index(step.side)))
        else:
            assert packet.sender == link.names[step.side]
            assert packet.time_us == step.time_us


@pytest.mark.parametrize("format", FORMATS)
def test_every_file_carries_the_banner(format: str) -> None:  # noqa: A002
    octets = written(make("fscp-12-1", 2, 2, {}), format)
    assert BANNER.encode() in octets
    assert TITLE.encode() in octets


def test_cases_follow_their_schema() -> None:
    text = written(make("fscp-12-1", 2, 2, {}), "jsonl").decode()
    head, *rows = map(json.loads, text.splitlines())
    schema = json.loads(
        files("safeframe").joinpath("schemas", "cases.schema.json").read_text(encoding="utf-8")
    )
    jsonschema.validate({**head, "cases": rows}, schema)
    loaded = cases.loads(text)
    assert loaded.kind == "generated"
    assert {case.subject for case in loaded.cases} == {"step"}
    bad = [case for case in loaded.cases if case.verdict == "reject"]
    assert [case.fault for case in bad][:8] == list(fixtures.ERRORS)
    assert all(case.note for case in bad)
    good = [case for case in loaded.cases if case.verdict == "accept"]
    assert all(not case.fault for case in good)


def test_hexadecimal_lines() -> None:
    text = written(make("fscp-12-1", 2, 2, {}), "hex").decode()
    assert text.startswith(f"# {BANNER}\n# {TITLE}\n\n# fault-corruption: corruption: bit ")
    assert "\n# caught by: the connection id in the frame\n" in text
    wrong = r"\n@\d+ SC1: 36 .*  # reject \(crc\): bit \d of frame octet \d"
    assert re.search(wrong, text)
    states = written(make("fscp-12-1", 2, 2, {}), "hex", "identification").decode()
    assert "\n# note: drives reserved bits and code values that no map names, too\n" in states
    unseen = written(make("fscp-12-1", 2, 2, {}), "hex", "undetected").decode()
    assert re.search(r"  # undetected: \d+ bits within \d+ inverted: XOR with ", unseen)


def test_records_of_octets() -> None:
    link = make("fscp-12-1", 2, 2, {})
    steps = [step for each in fixtures.make(link, "faults", seed=1) for step in each.steps]
    text, _, records = written(link, "bin").partition(b"\x00")
    assert text.decode() == f"{BANNER}\n{TITLE}\n"
    for step in steps:
        size = int.from_bytes(records[9:11], "little")
        assert records[0] == step.side
        assert int.from_bytes(records[1:9], "little") == step.time_us
        assert records[11 : 11 + size] == step.octets
        records = records[11 + size :]
    assert records == b""


@pytest.mark.skipif(shutil.which("cc") is None, reason="needs a C compiler")
def test_arrays_compile_and_hold_the_frames(tmp_path: Path) -> None:
    link = make("fscp-12-1", 2, 2, {})
    header = written(link, "c")
    (tmp_path / "fixtures.h").write_bytes(header)
    (tmp_path / "main.c").write_text(
        '#include "fixtures.h"\n#include <stdio.h>\nint main(void) {\n'
        "  for (unsigned i = 0; i < sizeof fault_addressing / sizeof *fault_addressing; i++) {\n"
        "    const struct safeframe_step *s = &fault_addressing[i];\n"
        '    printf("%d %d ", s->side, s->verdict);\n'
        '    for (int o = 0; o < s->size; o++) printf("%02x", s->octets[o]);\n'
        '    printf("\\n");\n  }\n  return 0;\n}\n'
    )
    program = tmp_path / "main"
    subprocess.run(
        ["cc", "-std=c99", "-Wall", "-Wno-unused", "-Werror", "-o", program, tmp_path / "main.c"],
        check=True,
    )
    done = subprocess.run([program], capture_output=True, text=True, check=True)
    sets = {each.label: each for each in fixtures.make(link, "faults", seed=1)}
    made = sets["fault-addressing"]
    assert done.stdout.splitlines() == [
        f"{step.side} {2 * (step.verdict == 'reject')} {step.octets.hex()}" for step in made.steps
    ]


def test_labels_that_recur_are_numbered() -> None:
    link = make("fscp-12-1", 2, 2, {})
    sets = fixtures.make(link, "states", count=1) * 2
    octets = fixtures.write(sets, link, "c", title="a */ b")
    assert b"states[] =" in octets
    assert b"states_2[] =" in octets
    assert b"a * / b" in octets


def test_no_name_stands_twice_in_a_header() -> None:
    """A set that is numbered is named like a frame of the first, one of an end like another's."""
    link = make("fscp-12-1", 2, 2, {})
    sets = fixtures.make(link, "states", count=1) * 3
    labels = ("states-a b", "states-a-b", "states", "states-a_b_0")
    sets += tuple(replace(sets[0], label=label) for label in labels)
    text = fixtures.write(sets, link, "c", title="t").decode()
    declared = re.findall(r"^static const .*?(\w+)\[\] = ", text, re.MULTILINE)
    assert len(declared) == len(set(declared)) == sum(1 + len(each.steps) for each in sets)
    tables = re.findall(r"^static const struct safeframe_step (\w+)\[\]", text, re.MULTILINE)
    assert tables == [
        *("states", "states_2_set", "states_3_set", "states_a_b", "states_a_b_set"),
        *("states_4_set", "states_a_b_0_set"),
    ]


def test_sets_follow_each_other_in_a_capture() -> None:
    link = make("fscp-12-1", 2, 2, {})
    octets = written(link, "pcapng")
    times = [
        packet.time_us
        for packet in read_recording(io.BytesIO(octets))
        if isinstance(packet, Packet) and packet.time_us is not None
    ]
    assert times == sorted(times)
    assert fixtures.write((), link, "pcapng", title="none")


def test_packets_of_fscp_2_1() -> None:
    """UDP port 2222 and an address item before the data item: as the oracle tests dissect it."""
    from dpkt import ethernet, pcapng

    link = make("fscp-2-1", 2, 0, {"format": "base"})
    reader: Any = pcapng.Reader
    packets = [octets for _, octets in reader(io.BytesIO(written(link, "pcapng")))]
    ids = set()
    for octets in packets:
        whole: Any = ethernet.Ethernet(octets)
        head = octets[14:34]
        words = sum(int.from_bytes(head[at : at + 2], "big") for at in range(0, 20, 2))
        assert (words & 0xFFFF) + (words >> 16) == 0xFFFF  # RFC 1071.
        assert (whole.ip.v, whole.ip.hl, whole.ip.p, len(octets) - 14) == (4, 5, 17, whole.ip.len)
        assert (whole.ip.udp.sport, whole.ip.udp.dport) == (2222, 2222)
        items = whole.ip.udp.data
        assert items[:6] == b"\2\0\2\x80\x08\0"
        ids.add(int.from_bytes(items[6:10], "little"))
    assert ids == {0x11110001, 0x22220002}


@pytest.mark.parametrize("number", [1, 0x6800, 0xFFFF, 0x10000])
def test_the_header_checksum_of_any_packet(number: int) -> None:
    head = PACKET(0, number, bytes(8)).octets[:20]
    words = sum(int.from_bytes(head[at : at + 2], "big") for at in range(0, 20, 2))
    assert (words & 0xFFFF) + (words >> 16) == 0xFFFF  # RFC 1071.


def test_refusals(monkeypatch: pytest.MonkeyPatch) -> None:
    link = make("fscp-12-1", 2, 2, {})
    with pytest.raises(UsageError, match=r"^format must be one of jsonl, .*, not 'x'$"):
        written(link, "x")
    real = builtins.__import__

    def missing(name: str, *args: Any, **more: Any) -> Any:
        if name == "dpkt":
            raise ImportError(name)
        return real(name, *args, **more)

    monkeypatch.setattr(builtins, "__import__", missing)
    with pytest.raises(UsageError) as caught:
        written(link, "pcapng")
    assert str(caught.value) == "pcapng needs a library: install the extra safeframe[capture]"
