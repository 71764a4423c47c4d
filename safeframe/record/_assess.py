"""What a record is worth: is it whole, complete and signed, and does it still fit the maps."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from .._canonical import person
from .._checks import judged_maps
from .._errors import InputError
from .._mapfile import loads
from .._model import Connection, End
from .._words import count, listed
from ..protocols import Profile
from ._compute import computed_with, findings_of
from ._editions import canonical_texts, digest_of, earlier_edition, is_old
from ._entries import CarriedOver, link_faults, title
from ._parts import Computed, Record, RecordedFinding, State
from ._people import People, acts_of, approvals, history_faults, says, state_number
from ._void import drift, other_maps
from ._workings import Workings

VOID = "the maps are not those of the record, which is void for them:"
"""The first fault of a record that is about other maps; what differs comes after it."""

APPROVALS = 2
"""Approvals by different people that a release needs: two pairs of eyes, common practice."""

LIMITS = (
    "the seals show an entry that was altered, removed or moved in the middle of the history; they "
    "do not show the last entries cut off, nor a history computed anew from some entry on: whoever "
    "can edit the file can do both, for no key is in a seal"
)
"""What the seals of a history show and what not."""

_OLD = (
    "the record was made by an older release: its fingerprints are over {}, which this release "
    "does not compute of these maps; compared were the maps inside the record"
)
_FIRST = (
    "the history begins with what was entered in a {}: only the latest entries were kept there, "
    "and its approvals sealed neither who, role nor date"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Signature:
    """A signature file beside a record, and what was found about it.

    ``entries`` is how many entries it covers, ``names`` are all allowed signers that it was
    accepted for, ``by`` the same in one text, and ``key`` the key in the words of the program;
    ``words`` say why it was not accepted, empty where it was. ``signers`` tells which file of
    allowed signers it was judged by, empty where it was not.
    """

    path: str
    by: str = ""
    key: str = ""
    entries: int = 0
    words: str = ""
    signers: str = ""
    names: tuple[str, ...] = ()

    @property
    def accepted(self) -> bool:
        """Whether ssh-keygen accepted it."""
        return not self.words


class RecordPoint(NamedTuple):
    """One thing that is wrong with a record (a fault) or still to be done.

    ``aspect`` is ``record``, ``request``, ``read back``, ``tests`` or ``approvals``; ``subject``
    the end, the step or the person that it is about, empty where it is about none of these.
    """

    aspect: str
    subject: str
    text: str
    fault: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Assessment:
    """``faults`` void the record or the change, ``missing`` is still to be done.

    ``notes`` say how far the judgement goes, for instance that the record is of an older edition.
    ``signatures`` are the signature files that were looked at, ``unsigned`` are the allowed signers
    whose signature is asked for and missing, ``points`` what the record by itself shows.
    """

    faults: tuple[str, ...]
    missing: tuple[str, ...]
    notes: tuple[str, ...] = ()
    signatures: tuple[Signature, ...] = ()
    unsigned: tuple[str, ...] = ()
    points: tuple[RecordPoint, ...] = ()

    @property
    def complete_and_signed(self) -> bool:
        """Whether nothing is wrong and nothing is missing."""
        return not self.faults and not self.missing


def assess(record: Record) -> Assessment:
    """Judge a record by itself, without the maps."""
    found = points(record)
    return Assessment(
        faults=tuple(point.text for point in found if point.fault),
        missing=tuple(point.text for point in found if not point.fault),
        notes=of_age(record),
        points=found,
    )


def of_age(record: Record) -> tuple[str, ...]:
    """Return what cannot be judged of a record because an older release made it."""
    notes = [_OLD.format(record.computed.canonical)] if is_old(record.computed) else []
    if edition := earlier_edition(record):
        notes.append(_FIRST.format(edition))
    return tuple(notes)


def points(record: Record) -> tuple[RecordPoint, ...]:
    """Return all that a record by itself shows to be wrong, then all that is still to be done.

    ``assess`` tells the same in words alone.
    """
    people = record.people
    return (*_faults(record, people), *_missing(record, people))


def verify(
    record: Record,
    after: Connection,
    *,
    before: Connection | None = None,
    own_profiles: Mapping[str, Profile] | None = None,
) -> Assessment:
    """Judge a record together with the maps it is about: compute everything anew and compare.

    Without ``before`` the maps before the change are those inside the record. Raises InputError
    when these are no maps any more. What the rules do not judge of the maps is in ``notes``.
    """
    return verify_with(Workings(own_profiles), record, after, before)


def verify_with(
    workings: Workings, record: Record, after: Connection, before: Connection | None = None
) -> Assessment:
    """Return the same as ``verify``; what is known of the ends is not worked out anew."""
    own = assess(record)
    recorded = record.computed
    now = in_order(after, recorded.after)
    earlier = before or _baseline(recorded, now, workings)
    earlier = in_order(earlier, recorded.before)
    faults = list(other_maps(recorded, earlier, now, workings))
    left: list[str] = []
    if faults:
        faults.insert(0, VOID)
    else:
        # A map that says the same in another spelling is the recorded one.
        earlier = _as_recorded(earlier, recorded.before, workings)
        said = _as_recorded(now, recorded.after, workings)
        computed = computed_with(workings, earlier, said)
        seen = workings.judged(now) or judged_maps(now, own_profiles=workings.own_profiles)
        left += (
            f"not judged: {one.subject} ({one.reason})" for one in seen.not_judged if one.subject
        )
        if is_old(recorded):
            known = set(_wrong(recorded))
            faults += (f"by this release, {text}" for text in _wrong(computed) if text not in known)
            faults += _unasked(recorded, computed)
        else:
            faults += drift(recorded, computed)
        if said.ends != now.ends:
            # What the spelling alone makes wrong, such as bits that are reserved twice; rows in
            # another order are a warning, and say the same.
            alone = findings_of(Connection(first=now.first, second=now.second), workings)
            known = set(_open(computed.findings))
            found = _open(one for one in alone if one.severity == "error")
            faults += (
                f"as the maps are written now, {text}" for text in found if text not in known
            )
    return Assessment(
        faults=(*faults, *own.faults),
        missing=own.missing,
        notes=(*own.notes, *_how_far(record), *left),
        points=own.points,
    )


def _how_far(record: Record) -> Iterator[str]:
    if record.history:
        entries = count(len(record.history), "entry", "entries")
        yield f"history: {entries}, the last seal is {record.history[-1].seal}"
        yield LIMITS


def _as_recorded(connection: Connection, states: Sequence[State], workings: Workings) -> Connection:
    """Return a connection with its maps as the record spells them, where they say the same."""

    def said(end: End, text: str) -> End:
        if workings.text(end) == text:
            return end
        try:
            inside = loads(text, path=f"<{end.name}, in the record>")
        except InputError:
            return end  # What is computed anew then shows the difference.
        return inside if workings.prints(end) == workings.prints(inside) else end

    first, second = (
        said(end, state.map) for end, state in zip(connection.ends, states, strict=True)
    )
    return Connection(first=first, second=second)


def in_order(connection: Connection, states: Sequence[State]) -> Connection:
    """Return a connection with its ends in the order of the record."""
    if [connection.second.name, connection.first.name] == [state.end for state in states]:
        return Connection(first=connection.second, second=connection.first)
    return connection


def baseline(record: Record) -> Connection:
    """Return the connection before the change, from the maps inside the record."""
    first, second = map(_before, record.computed.before)
    return Connection(first=first, second=second)


def _before(state: State) -> End:
    return loads(state.map, path=f"<{state.end} before, in the record>")


def _baseline(recorded: Computed, now: Connection, workings: Workings) -> Connection:
    """Return the connection before the change; what the ends of now say is not read anew.

    ``loads`` is the inverse of ``dumps``: an end whose text stands in the record is what would
    be read there, but for the lines.
    """
    texts = {workings.text(end): end for end in now.ends}
    first, second = (texts.get(state.map) or _before(state) for state in recorded.before)
    return Connection(first=first, second=second)


def _faults(record: Record, people: People) -> Iterator[RecordPoint]:
    for text in _broken(record):
        yield RecordPoint("record", "", text, fault=True)
    for read_back in people.read_backs:
        if read_back.both_stated and not read_back.matches:
            text = (
                f"read-back of {read_back.end}: the device shows {read_back.checksum}, expected "
                f"is {read_back.expected}"
            )
            yield RecordPoint("read back", read_back.end, text, fault=True)
    for trial in people.trials:
        if trial.result == "failed":
            text = f"step {trial.id} failed{f': {trial.remark}' if trial.remark else ''}"
            yield RecordPoint("tests", trial.id, text, fault=True)
    yield from _approval_faults(record)


def _broken(record: Record) -> Iterator[str]:
    """Say what is wrong with the computed part and with the history as such."""
    computed, history = record.computed, record.history
    found = digest_of(computed)
    if found != record.computed_sha256:
        yield (
            f"the computed part was edited: its fingerprint is {found[:16]}, the record says "
            f"{record.computed_sha256[:16]}"
        )
    texts = canonical_texts(record)
    if computed.canonical not in texts:
        yield (
            f"the computed part says that its fingerprints are over {computed.canonical}, not "
            f"{' or '.join(texts)} as its edition has them"
        )
    yield from link_faults(history, record.computed_sha256)
    yield from _wrong(computed)
    yield from history_faults(history, record.ends, record.steps)


def _approval_faults(record: Record) -> Iterator[RecordPoint]:
    history = record.history
    last = state_number(history)
    carried = max(
        (number for number, act in acts_of(history) if isinstance(act, CarriedOver)), default=0
    )
    by: dict[str, list[str]] = {}
    for number, act in approvals(history).items():
        if number < last:
            why = f"was given before entry {last} ({title(history[last - 1].act)})"
            if number < carried:
                why = "was for another state already when it was carried over"
            text = (
                f"the approval of {act.who} (entry {number}) {why}: withdraw it with its reason, "
                "then approve anew"
            )
            yield RecordPoint("approvals", act.who, text, fault=True)
        if name := person(act.who):
            by.setdefault(name, []).append(act.who)
    for names in by.values():
        if len(names) > 1:
            shown = " and ".join(dict.fromkeys(names))
            text = f"{len(names)} approvals are by one person, {shown}: each must be by another"
            yield RecordPoint("approvals", names[-1], text, fault=True)


def _wrong(computed: Computed) -> Iterator[str]:
    """Say what speaks against the change itself."""
    if computed.verdict == "different":
        yield f"the ends were not edited identically: {'; '.join(computed.differences)}"
    yield from _open(computed.findings)


def _open(
    findings: Iterable[RecordedFinding], severities: tuple[str, ...] = ("error", "warning")
) -> Iterator[str]:
    """Say which findings of these severities nobody has allowed."""
    for entry in findings:
        if not entry.allowed and entry.severity in severities:
            yield f"open {entry.severity} {entry.rule}: {entry.message}"


def _unasked(recorded: Computed, now: Computed) -> Iterator[str]:
    """Say which steps a checklist of an older edition lacks: its words are not compared."""
    asked = {step.id: step.required for step in recorded.checklist}
    left = [step.id for step in now.checklist if asked.get(step.id, -1) < step.required]
    if left:
        yield (
            f"by this release, {count(len(left), 'step')} must be tried that the record does not "
            f"ask for, or does not require: {listed(left)}"
        )


def _missing(record: Record, people: People) -> Iterator[RecordPoint]:
    def lacks(aspect: str, subject: str, text: str) -> RecordPoint:
        return RecordPoint(aspect, subject, text, fault=False)

    asked_by = people.request.asked_by if says(people.request.asked_by) else ""
    for key, what in (("reason", "a reason"), ("asked_by", "who asked for the change")):
        if not says(getattr(people.request, key)):
            yield lacks("request", asked_by, f"request: {what}")
    if not any(map(says, people.request.hazards)):
        text = 'request: hazards possibly affected, or the words "none" and why'
        yield lacks("request", asked_by, text)
    for entry in people.read_backs:
        names = ("who", "when", "serial", "checksum", "expected")
        empty = [name for name in names if not says(getattr(entry, name))]
        if empty:
            yield lacks("read back", entry.end, f"read-back of {entry.end}: {', '.join(empty)}")
    required = {step.id: step.required for step in record.computed.checklist}
    for trial in people.trials:
        text = ""
        if not trial.result:
            text = "not done"
        elif required[trial.id] and trial.result == "not applicable":
            text = "must pass, a bit never driven proves nothing"
        elif not says(trial.who) or not says(trial.when):
            text = "who and when"
        elif trial.result == "not applicable" and not says(trial.remark):
            text = "why it is not applicable"
        if text:
            yield lacks("tests", trial.id, f"step {trial.id}: {text}")
    for approval in people.approvals:
        named = says(approval.who)
        if not named or not says(approval.role) or not says(approval.when):
            who = approval.who if named else "nobody"
            yield lacks("approvals", approval.who, f"approval of {who}: who, role and when")
    # Who approves without a name is nobody, and twice nobody is not two people.
    approving = {name for each in people.approvals if (name := person(each.who))}
    if len(approving) < APPROVALS:
        yield lacks("approvals", "", f"approvals: {len(approving)} of {APPROVALS}")
