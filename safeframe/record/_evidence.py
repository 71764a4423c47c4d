"""Recordings as evidence: what they show of the steps goes into the record, never as a result."""

from __future__ import annotations

import io
import os
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any, cast

from .._document.reader import reading
from .._errors import UsageError
from .._link import link_stated, places_stated
from .._model import Connection
from .._words import count, milliseconds, moment
from ..protocols import Profile
from ._assess import VOID, Assessment, in_order, verify
from ._entries import EvidenceAct, EvidenceFinding, EvidenceSight, appended
from ._parts import Record

DEFAULT_WINDOW_MS = 1000
"""How long after a sight a change in the other direction is told, unless said otherwise."""

_SHORT = 16
_LISTS = ("unclean", "not_judged")
_NOTHING = "not shown"


def add_evidence(
    record: Record,
    recording: str | os.PathLike[str],
    after: Connection,
    *,
    window_ms: int = DEFAULT_WINDOW_MS,
    fresh: bool = False,
    at: Sequence[str] = (),
    sources: Sequence[str] = (),
    values: Sequence[str] = (),
    ethertype: int | None = None,
    udp_port: int | None = None,
    who: str = "",
    when: str = "",
    own_profiles: Mapping[str, Profile] | None = None,
) -> Record:
    """Return the record with what a recording shows of its steps; no step gets a result.

    ``at``, ``sources`` and ``values`` are ``NAME=VALUE`` as ``safeframe capture`` takes them.
    Raises UsageError for other maps than those of the record and for a recording that is in it
    already, InputError for one that cannot be read.
    """
    if window_ms < 0:
        raise UsageError(f"the window must be 0 ms or more, not {window_ms}")
    found = verify(record, after, own_profiles=own_profiles)
    if found.faults[:1] == (VOID,):
        raise UsageError(
            f"the maps must be those of the record after the change: {found.faults[1]}"
        )
    asked = EvidenceAct(
        recording=os.path.basename(os.fspath(recording)),  # noqa: PTH119
        sha256="",
        size_octets=0,
        packets=0,
        window_ms=window_ms,
        fresh=fresh,
        at=tuple(at),
        sources=tuple(sources),
        values=tuple(values),
        ethertype=ethertype,
        udp_port=udp_port,
        unclean=(),
        not_judged=(),
        findings=(),
        who=who,
        when=when,
    )
    act = _looked(record, os.fspath(recording), after, asked)
    for number, entry in enumerate(record.history, start=1):
        if isinstance(entry.act, EvidenceAct) and entry.act.sha256 == act.sha256:
            raise UsageError(
                f"the recording must be one that is not in the record yet, not {act.recording}, "
                f"which entry {number} has ({entry.act.recording}, SHA-256 {act.sha256[:_SHORT]})"
            )
    return replace(record, history=appended(record.history, record.computed_sha256, [act]))


def _looked(record: Record, path: str, after: Connection, asked: EvidenceAct) -> EvidenceAct:
    """Return what a recording shows, read as ``asked`` says."""
    from ..capture import Wanted  # deferred: few records have evidence.
    from ..capture._whole import examine_whole
    from ._sights import Sights

    # In the order of the record, whatever order the maps were given in.
    link = link_stated(in_order(after, record.computed.after), asked.values)
    sights = Sights(link, record.computed.checklist, asked.window_ms * 1000)
    places = places_stated(link, asked.at, asked.sources)
    wanted = Wanted(ethertype=asked.ethertype, udp_port=asked.udp_port)
    with reading(path, what="recording") as stream:
        whole = examine_whole(stream, link, places, wanted, fresh=asked.fresh, observer=sights)
    found = whole.found
    if found.stopped:
        raise KeyboardInterrupt
    return replace(
        asked,
        sha256=whole.sha256,
        size_octets=whole.size_octets,
        packets=found.packets,
        unclean=tuple(_unclean(found)),
        not_judged=found.not_judged,
        findings=sights.findings(found.end_us),
    )


def _unclean(found: Any) -> Iterator[str]:
    """Say why a recording is not clean; nothing where it is."""
    if found.is_clean:
        return
    from ..capture._report import FAULTS

    for side in found.sides:
        if side.sends and not side.results.get("accepted"):
            yield f"no accepted frame of {side.name}"
    for kind in FAULTS:
        if kind in found.notes:
            yield f"{kind}: {found.notes[kind].count}"
    if found.silent_count:
        yield f"silence longer than the watchdog: {found.silent_count}"
    if found.difference:
        yield f"frames that the two ends read differently: {found.difference.count}"
    if found.wrong_events:
        yield f"events that are wrong: {found.wrong_events}"
    if found.oddities:
        yield f"contradictions to the maps: {len(found.oddities)}"


def with_recordings(
    assessment: Assessment,
    record: Record,
    after: Connection,
    recordings: Sequence[str | os.PathLike[str]] = (),
) -> Assessment:
    """Return an assessment with what recordings say about the evidence in the record.

    What is in the record is computed anew from each recording; what was not, is said. For maps
    that are not those of the record nothing is computed: the record is void for them.
    """
    acts = [entry.act for entry in record.history if isinstance(entry.act, EvidenceAct)]
    if not acts and not recordings:
        return assessment
    if assessment.faults[:1] == (VOID,):
        note = "evidence was not computed anew: the record is about other maps"
        return replace(assessment, notes=(*assessment.notes, note))
    faults, done = [], set()
    for given in recordings:
        path = os.fspath(given)
        source = digest_of_file(path)
        known = [act for act in acts if act.sha256 == source]
        if not known:
            faults.append(
                f"recording {path}: its SHA-256 is {source[:_SHORT]}, and no evidence of the "
                "record is from it"
            )
        for act in known:
            done.add(act.sha256)
            faults += _differences(path, act, _looked(record, path, after, act))
    left = [act.recording for act in acts if act.sha256 not in done]
    notes = []
    if done:
        notes.append(f"evidence computed anew: {count(len(done), 'recording')}")
    if left:
        notes.append(f"evidence not computed anew (--recording): {', '.join(left)}")
    notes += (
        f"{act.recording} is not clean: {'; '.join(act.unclean)}" for act in acts if act.unclean
    )
    return replace(
        assessment,
        faults=(*assessment.faults, *faults),
        notes=(*assessment.notes, *notes),
    )


def digest_of_file(path: str) -> str:
    """Return the SHA-256 of a recording; raises InputError where it cannot be read."""
    import hashlib  # deferred: few records have evidence.

    with reading(path, what="recording") as stream:
        return hashlib.file_digest(cast(io.BufferedReader, stream), "sha256").hexdigest()


def _differences(path: str, old: EvidenceAct, new: EvidenceAct) -> Iterator[str]:
    head = f"recording {path}, evidence computed anew"
    for name in ("sha256", "size_octets", "packets", "unclean", "not_judged"):
        was, now = getattr(old, name), getattr(new, name)
        if name in _LISTS and sorted(was) == sorted(now):
            continue  # Told in the order of the ends, which a record may have the other way.
        if was != now:
            words = name.replace("_", " ")
            yield f"{head}: {words} {was} in the record, {now} from the recording"
    ours = {row.step: row for row in new.findings}
    for row in old.findings:
        now = ours.pop(row.step, None)
        if now != row:
            yield (
                f"{head}: {row.step}: {_short(row)} in the record, {_short(now)} from the recording"
            )
    for row in ours.values():
        yield f"{head}: {row.step}: not in the record, {_short(row)} from the recording"


def _short(row: EvidenceFinding | None) -> str:
    if row is None or not row.sights:
        return _NOTHING
    return "; ".join(_sight(each) for each in row.sights)


def evidence_head(act: EvidenceAct) -> str:
    """Return in one line from which recording evidence is, and how it was read."""
    shown = sum(bool(row.sights) for row in act.findings)
    clean = f"NOT CLEAN ({'; '.join(act.unclean)})" if act.unclean else "clean"
    more = f"; not judged: {'; '.join(act.not_judged)}" if act.not_judged else ""
    return (
        f"evidence from {act.recording}, {act.size_octets} octets, SHA-256 {act.sha256}: "
        f"{clean}{more}; shows {shown} of {count(len(act.findings), 'step')}; changes of the other "
        f"direction within {act.window_ms} ms"
    )


def evidence_text(acts: Sequence[EvidenceAct], step: str) -> str:
    """Return what recordings show of a step, in one line; ``not shown`` where none does."""
    told = [
        f"{act.recording}: {_sight(each)}"
        for act in acts
        for row in act.findings
        if row.step == step
        for each in row.sights
    ]
    return "; ".join(told) or _NOTHING


def evidence_lines(act: EvidenceAct) -> Iterator[str]:
    """Yield a line for each step: what the recording shows of it, or that it shows nothing."""
    for row in act.findings:
        yield f"{row.step}: {_short(row)}"


def steps_without_evidence(record: Record) -> tuple[str, ...]:
    """Return the steps that a recording could show and that none in the record shows."""
    from ._sights import SHOWABLE  # deferred: few records have evidence.

    shown = {
        row.step
        for entry in record.history
        if isinstance(entry.act, EvidenceAct)
        for row in entry.act.findings
        if row.sights
    }
    return tuple(
        step.id
        for step in record.computed.checklist
        if step.group in SHOWABLE and step.id not in shown
    )


def _sight(sight: EvidenceSight) -> str:
    when = "" if sight.time_us is None else f", {moment(sight.time_us)}"
    text = f"{sight.what} at packet {sight.number}{when}"
    if sight.data:
        text += f", data {sight.data}"
    if sight.others:
        text += f", with {', '.join(sight.others)}"
    if sight.held_us is not None:
        text += f", for {milliseconds(sight.held_us)}"
    if sight.until:
        text += f" until {sight.until}"
    for each in sight.answers:
        text += f", {each.signal} {each.before} -> {each.after} after {milliseconds(each.after_us)}"
    return f"{text}, {sight.then}" if sight.then else text
