"""Records of the first edition: read, judged and written back as they are, and said to be old.

Edition 1 has fingerprints of another canonical text, which took every spelling as it was and left
parameters to each end. They cannot be compared with those of today; the maps inside the record can.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from .._canonical import CANONICAL
from .._fingerprint import end_fingerprint, plain, wire_fingerprint
from .._mapfile import loads
from ..protocols import Profile
from ._parts import Computed, Record, State

__all__ = ["FIRST", "FORMAT", "fingerprints", "is_old", "modern", "written"]

FORMAT = "safeframe-record/2"
FIRST = "safeframe-record/1"
_FIRST_CANONICAL = "safeframe-canonical/1"


def is_old(computed: Computed) -> bool:
    """Return whether the fingerprints of a computed part are of another canonical text."""
    return computed.canonical != CANONICAL


def modern(data: Any) -> Any:
    """Return the plain data of a record of the first edition under the names of this one.

    What is wrong with the data is for the reader to say: it stays where it is.
    """
    if type(data) is not dict or data.get("format") != FIRST:
        return data
    computed = data.get("computed")
    if type(computed) is not dict or type(computed.get("mixed")) is not list:
        return data
    mixed = [_renamed(mix, "terms", "disagreeing") for mix in computed["mixed"]]
    return {**data, "computed": {"canonical": _FIRST_CANONICAL, **computed, "mixed": mixed}}


def written(value: Record | Computed) -> Any:
    """Return a record or its computed part as plain data under the names of its own edition."""
    data = plain(value)
    if isinstance(value, Record):
        return {**data, "computed": written(value.computed)}
    if is_old(value):
        del data["canonical"]
        data["mixed"] = [_renamed(mix, "disagreeing", "terms") for mix in data["mixed"]]
    return data


def _renamed(data: Any, old: str, new: str) -> Any:
    if type(data) is not dict:
        return data
    return {new if name == old else name: value for name, value in data.items()}


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
