"""Every reader with good inputs to start from; each takes octets, as a file would hold them."""

from __future__ import annotations

import io
import json
import warnings
import zipfile
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import NamedTuple

import safeframe
from safeframe import (
    _baseline,
    _demo,
    capture,
    cases,
    check,
    fixtures,
    importing,
    protocols,
    record,
)
from safeframe import _mapfile as mapfile
from safeframe._checks.plant_routes import routed
from safeframe._coverage import results as coverage
from safeframe._coverage.points import plan_of
from safeframe._coverage.results import RecordingOptions
from safeframe._link import Places
from safeframe._plant import file as plantfile
from safeframe.importing import Decisions, DeviceFile
from tests.fuzz.loop import Read
from tests.unit.importing_files import CASES as DEVICE_FILES
from tests.unit.links import CASES as LINKS
from tests.unit.links import ONE_WAY, make
from tests.unit.record_maps import AFTER, FRESH, tested

__all__ = ["READERS", "Reader"]

_ROOM = Path(safeframe.__file__).parent
_VECTORS = Path(__file__).parents[2] / "vectors"


class Reader(NamedTuple):
    """A reader of octets and a function that makes inputs it takes."""

    read: Read
    seeds: Callable[[], list[bytes]]


def _text(load: Callable[[str], object]) -> Read:
    def read(octets: bytes) -> object:
        return load(octets.decode("utf-8", "replace"))

    return read


def _maps() -> list[bytes]:
    files = {**_demo.before(), **_demo.after()}
    return [files[name].encode() for name in ("sc1-lx.toml", "lx-sc1.toml")]


def _sheets() -> list[bytes]:
    end = mapfile.loads(_maps()[1].decode())
    return [mapfile.dumps(end, format="csv").encode()]


def _plant(text: str) -> object:
    files = {**_demo.after(), "r.json": record.dumps(FRESH)}
    plant = plantfile.loads(text, read=lambda path: files.get(Path(path).name, "{"))
    return routed(plant)


def _plants() -> list[bytes]:
    return [
        b'format = "safeframe-plant/1"\nname = "hall 3"\nconnections = [\n'
        b'  { ends = ["sc1-lx.toml", "lx-sc1.toml"], serials = { SC1 = "7", LX = "8" } },\n'
        b'  { ends = ["lx-sc1.toml", "sc1-lx.toml"], record = "r.json" },\n]\n',
        b'format = "safeframe-plant/1"\nname = "hall 3"\ncycle_ms = { SC1 = 10 }\nconnections = [\n'
        b'  { ends = ["sc1-lx.toml", "lx-sc1.toml"] },\n'
        b'  { ends = ["sc1-lc1.toml", "lc1-sc1.toml"] },\n]\nroutes = [\n'
        b'  { from = "LC1.field_clear", through = [{ end = "SC1", bind = "A.B", out = "C", '
        b'inverts = true, on_loss = 0, converts = { width = [1, 8], scale = ["1", "0.1"] } }], '
        b'to = ["LX", "permit_up"], connections = ["SC1-LC1", "SC1-LX"], '
        b"permitted_reaction_ms = 250 },\n]\n",
    ]


def _profiles() -> list[bytes]:
    own = (
        b'format = "safeframe-profile/1"\nname = "hall3"\ntitle = "Exchange of hall 3"\n'
        b'roles = ["leader", "follower"]\nsizes = [{ first = 4, last = 16, step = 4 }]\n'
        b"id_range = [1, 99]\n"
    )
    return [own, *(path.read_bytes() for path in sorted(_ROOM.glob("protocols/*/facts.toml")))]


def _records() -> list[bytes]:
    return [record.dumps(one).encode() for one in (FRESH, tested(FRESH))]


def _baselines() -> list[bytes]:
    wrong = mapfile.loads(_demo.before()["lx-sc1.toml"])
    report = check(safeframe.Connection(first=AFTER.first, second=wrong))
    return [_baseline.dumps(report.findings).encode()]


_PLAN = plan_of(capture.link_of(AFTER))


def _results() -> list[bytes]:
    names = _PLAN.link.names
    steps = fixtures.make(_PLAN.link, "states", seed=1, count=3)[0].steps
    lines = [f"@{each.time_us} {names[each.side]}: {each.octets.hex()}" for each in steps]
    stream, how = io.BytesIO("\n".join(lines).encode()), RecordingOptions(fresh=True)
    made, _ = coverage.measure(stream, _PLAN, "run.hex", how, Places({}, {}))
    return [json.dumps(coverage.result_json(coverage.put_together(_PLAN, [made]))).encode()]


def _coverage(text: str) -> object:
    return coverage.result_json(coverage.put_together(_PLAN, coverage.loads(text, _PLAN)))


def _cases() -> list[bytes]:
    paths = sorted(_VECTORS.glob("*/*.json"), key=lambda path: path.stat().st_size)
    return [path.read_bytes() for path in paths[:3]]


def _recording(octets: bytes) -> object:
    return list(capture.read_recording(io.BytesIO(octets)))


def _recordings(form: str) -> list[bytes]:
    link = make(*LINKS[1])
    steps = tuple(fixtures.make(link, "states", seed=1, count=2)[0].steps[-4:])
    small = [fixtures.FrameSet(label="s", title="t", steps=steps)]
    if form != "pcap":
        return [fixtures.write(small, link, form, title="t")]
    from dpkt import pcap, pcapng

    out = io.BytesIO()
    writer = pcap.Writer(out)
    for seconds, packet in pcapng.Reader(
        io.BytesIO(fixtures.write(small, link, "pcapng", title="t"))
    ):
        writer.writepkt(packet, seconds)
    return [out.getvalue()]


def _can_logs() -> list[bytes]:
    lines = (
        "(1700000000.000000) can0 111#0102",
        "(1700000000.000400) can0 112#FEFD",
        "(1700000000.000900) can1 1FFFFFFF#R",
        "(1700000000.001000) can0 20000004#0000000000000000",
        "(1700000000.001100) can0 111##10011",
    )
    return ["\n".join(lines).encode()]


def _can_packets() -> list[bytes]:
    link = make(*ONE_WAY[0])
    small = fixtures.make(link, "states", seed=1, count=2)
    return [fixtures.write(small, link, "pcapng", title="t")]


def _device_file(name: str, octets: bytes) -> object:
    source = DeviceFile("device", octets)
    return importing.candidates_of(importing.find_format(name), source, Decisions())


def _device_files(name: str) -> list[bytes]:
    return [DEVICE_FILES[name].text.encode()]


_PART = b"\n-- part: "
"""Before the name of each part of a workbook that is spoilt part by part, then packed."""


def _workbook(octets: bytes) -> object:
    if octets.startswith(_PART):
        out = io.BytesIO()
        with warnings.catch_warnings(), zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
            warnings.simplefilter("ignore")  # Two parts of one name are a fault to be tried.
            for part in octets.split(_PART)[1:]:
                name, _, content = part.partition(b"\n")
                archive.writestr(name.decode("utf-8", "replace").replace("\0", "-") or "-", content)
        octets = out.getvalue()
    return importing.sheet_proposal(DeviceFile("t.xlsx", octets), "", Decisions())


def _workbooks() -> list[bytes]:
    rows = [["place", "name", "bits"], ["0.0", "permit_torque", "1"], ["0.1", "=A1", "1.5"]]
    columns = importing.Columns(columns=(), bit_zero="least", first_octet=0, first_bit=0)
    packed = importing.write_workbook(rows, columns)
    with zipfile.ZipFile(io.BytesIO(packed)) as archive:
        parts = [
            _PART + name.encode() + b"\n" + archive.read(name)
            for name in archive.namelist()
            if "theme" not in name  # Half of it all, and nothing of it is read.
        ]
    return [packed, b"".join(parts)]


READERS: dict[str, Reader] = {
    "maps": Reader(_text(mapfile.loads), _maps),
    "sheets": Reader(_text(partial(mapfile.loads, format="csv")), _sheets),
    "plants": Reader(_text(_plant), _plants),
    "profiles": Reader(_text(protocols.loads), _profiles),
    "records": Reader(_text(record.loads), _records),
    "baselines": Reader(_text(_baseline.loads), _baselines),
    "results": Reader(_text(_coverage), _results),
    "cases": Reader(_text(cases.loads), _cases),
    "workbooks": Reader(_workbook, _workbooks),
    **{
        form: Reader(_recording, partial(_recordings, form))
        for form in ("hex", "jsonl", "pcap", "pcapng")
    },
    "can-log": Reader(_recording, _can_logs),
    "can-pcapng": Reader(_recording, _can_packets),
    **{
        name: Reader(partial(_device_file, name), partial(_device_files, name))
        for name in importing.FORMATS
    },
}
