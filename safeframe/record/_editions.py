"""Records of earlier editions: read and judged as they are, said to be old, and continued.

The canonical text has an edition of its own. Of records whose fingerprints are over its second
edition those alone are old whose maps hold texts that it took for one and that are two: of all
others it has the forms of today.

Edition 1 has fingerprints of another canonical text, which took every spelling as it was and left
parameters to each end. They cannot be compared with those of today; the maps inside the record can.
It kept of everything the latest entry only, and its approvals sealed neither who, role nor date.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from .._canonical import CANONICAL, SECOND, edition, meaning
from .._errors import InputError
from .._fingerprint import (
    canonical,
    digest,
    end_document,
    end_fingerprint,
    plain,
    wire_document,
    wire_fingerprint,
)
from .._mapfile import loads
from .._model import Provenance
from ..protocols import Profile
from ._entries import Act, ApprovalAct, CarriedOver, ReadBackAct, RequestAct, TrialAct, appended
from ._parts import Computed, Record, State
from ._people import People

FORMAT = "safeframe-record/2"
FIRST = "safeframe-record/1"
_FIRST_CANONICAL = "safeframe-canonical/1"


@dataclass(frozen=True, slots=True, kw_only=True)
class FirstRecord:
    """A record of the first edition, under the names of today."""

    format: str
    computed: Computed
    computed_sha256: str
    people: People


def edition_of(states: Iterable[State]) -> str:
    """Return the edition of the canonical text that the fingerprints of these states are over."""
    return CANONICAL if any(_edition(state.map) == CANONICAL for state in states) else SECOND


@lru_cache(maxsize=16)
def _edition(text: str) -> str:
    """Return the same for the text of a map; what is no map any more has a form in no edition."""
    if "\\" not in text and edition((text,), (meaning(text),)) == SECOND:
        return SECOND  # No text in it can hold what the whole does not.
    try:
        end = loads(text, path="<a map in the record>")
    except InputError:
        return SECOND
    # Parameters have one form in both editions, so that no profile is asked about them.
    documents = wire_document(end), end_document(end)
    return CANONICAL if CANONICAL in [one["format"] for one in documents] else SECOND


def is_old(computed: Computed) -> bool:
    """Return whether the fingerprints of a computed part are not those of this release."""
    if computed.canonical != SECOND:
        return computed.canonical != CANONICAL
    return edition_of((*computed.before, *computed.after)) != SECOND


def earlier_edition(record: Record) -> str:
    """Return the edition in which the history of a record began, empty for that of today."""
    acts = (entry.act for entry in record.history)
    return next((act.edition for act in acts if isinstance(act, CarriedOver)), "")


def canonical_texts(record: Record) -> tuple[str, ...]:
    """Return the canonical texts that the fingerprints of a record may be over."""
    return (_FIRST_CANONICAL,) if earlier_edition(record) else (SECOND, CANONICAL)


def modern(data: Any) -> Any:
    """Return the plain data of a record of the first edition under the names of this one.

    What is wrong with the data is for the reader to say: it stays where it is.
    """
    computed = data.get("computed")
    if type(computed) is not dict or type(computed.get("mixed")) is not list:
        return data
    mixed = [_renamed(mix, "terms", "disagreeing") for mix in computed["mixed"]]
    return {**data, "computed": {"canonical": _FIRST_CANONICAL, **computed, "mixed": mixed}}


def digest_of(computed: Computed) -> str:
    """Return the SHA-256 over the canonical JSON of a computed part, of its own edition."""
    data = plain(computed)
    if computed.canonical == _FIRST_CANONICAL:
        del data["canonical"]
        data["mixed"] = [_renamed(mix, "disagreeing", "terms") for mix in data["mixed"]]
    return digest(canonical(data).encode("ascii"))


def _renamed(data: Any, old: str, new: str) -> Any:
    if type(data) is not dict:
        return data
    return {new if name == old else name: value for name, value in data.items()}


def carried_over(first: FirstRecord) -> Record:
    """Return a record of the first edition with what people had entered as a history.

    An approval that was for another state stands before the entries, so that it is seen to be.
    """
    people = plain(first.people)
    entered = digest(canonical(people).encode("ascii"))
    del people["approvals"]
    state = {"computed_sha256": first.computed_sha256, "people": people}
    signed = digest(canonical(state).encode("ascii"))
    void, valid = (
        [
            ApprovalAct(who=approval.who, role=approval.role, when=approval.when)
            for approval in first.people.approvals
            if (approval.signs == signed) is fits
        ]
        for fits in (False, True)
    )
    carried = CarriedOver(edition=FIRST, sha256=entered)
    acts = [*void, carried, *_entries(first.people), *valid]
    return Record(
        format=FORMAT,
        computed=first.computed,
        computed_sha256=first.computed_sha256,
        history=appended((), first.computed_sha256, acts),
    )


def _entries(people: People) -> Iterator[Act]:
    request = people.request
    if request.reason or request.asked_by or request.hazards:
        yield RequestAct(
            reason=request.reason,
            asked_by=request.asked_by,
            hazards=request.hazards,
            who="",
            when="",
        )
    for row in people.read_backs:
        values = {name: getattr(row, name) or None for name in ("serial", "checksum", "expected")}
        # Whoever looked and wrote down nothing else has looked.
        if any((*values.values(), row.who, row.when)):
            yield ReadBackAct(end=row.end, who=row.who, when=row.when, remark="", **values)
    for trial in people.trials:
        if any((trial.result, trial.who, trial.when, trial.remark)):
            yield TrialAct(
                step=trial.id,
                result=trial.result,
                who=trial.who,
                when=trial.when,
                remark=trial.remark,
            )


def fingerprints(
    computed: Computed, state: State, *, own_profiles: Mapping[str, Profile] | None = None
) -> tuple[str, str]:
    """Return wire and end fingerprint of a state of a record in the canonical text of today.

    Raises InputError where the map inside an old record is no map any more.
    """
    if not is_old(computed):
        return state.wire, state.own
    end = loads(state.map, path=f"<{state.end}, in the record>")
    return (
        wire_fingerprint(end, own_profiles=own_profiles),
        end_fingerprint(end, own_profiles=own_profiles),
    )


def origin_of(state: State) -> Provenance | None:
    """Return where the map inside a record came from; nothing of one that is no map any more.

    It is in no fingerprint, and an edit of it is one of the map all the same.
    """
    if "imported" not in state.map:
        return None
    try:
        return loads(state.map).imported
    except InputError:
        return None
