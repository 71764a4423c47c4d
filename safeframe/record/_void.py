"""What differs between a record and the maps of today, in the words of the maps."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import zip_longest
from typing import Any

from .._diff import Change, compare_versions
from .._errors import InputError
from .._fingerprint import plain
from .._mapfile import loads
from .._model import Connection, End
from .._words import count
from ..protocols import Profile
from ._editions import fingerprints
from ._parts import Computed, State
from ._workings import Workings

_SHOWN = 12
"""Differences of one end that are told one by one."""
_LONGEST, _BEFORE = 40, 10
"""Characters of a value that are shown, and how many of them before the first difference."""

_FIELDS = {
    "bind": "binding",
    "one_means": "meaning of 1",
    "safe": "safe value",
    "watchdog_ms": "watchdog",
    "exchange_ms": "exchange time",
    "permitted_reaction_ms": "permitted reaction time",
    "legal_octets": "legal sizes",
    "valid_by": "validity signal",
}
"""Words for fields whose name says less than a reader needs; others go by their name."""

_WORDS = {
    "added": "{subject} added at {after}",
    "removed": "{subject} removed, it was at {before}",
    "moved": "{subject} moved {before} -> {after}",
    "renamed": "{before} renamed -> {after}",
    "reserve": "reserve at {subject} {before} -> {after}",
    "parameter": "parameter {subject} {before} -> {after}",
    "relation": "relation {subject} {before} -> {after}",
    "allowance": "allowance of {subject} {before} -> {after}",
}
_FIELD = "{field} of {subject} {before} -> {after}"

_PARTS = {
    "canonical": "canonical text of the fingerprints",
    "connection": "name of the connection",
    "profile": "profile",
    "edition": "edition of the profile",
    "before": "maps before the change",
    "after": "maps after the change",
    "bits": "table of bits",
    "edits": "list of differences",
    "verdict": "verdict on both ends",
    "differences": "differences between both edits",
    "classes": "class of the change",
    "mixed": "table of what is read while one end is updated",
    "times": "reaction time",
    "findings": "list of findings",
    "checklist": "test checklist",
}
"""Words for the parts of what is computed."""


def other_maps(
    recorded: Computed,
    earlier: Connection,
    now: Connection,
    workings: Workings,
) -> Iterator[str]:
    """Say which maps are not those of the record, and what is different in them."""
    for name, states, connection in (
        (" before the change", recorded.before, earlier),
        ("", recorded.after, now),
    ):
        for state, end in zip(states, connection.ends, strict=True):
            olds = fingerprints(recorded, state, own_profiles=workings.own_profiles)
            news = workings.prints(end)
            if olds != news or workings.text(end) != state.map:
                head = f"{end.name}{name}"
                changes = _changes(state, end, workings.own_profiles)
                if olds == news:
                    # In no fingerprint is where a map came from. All else that differs then does
                    # so from an edited text in the record, and computing anew tells that.
                    changes = (change for change in changes if change.section == "imported")
                told = [f"{head}: {_told(change, end)}" for change in changes]
                yield from told[:_SHOWN]
                if len(told) > _SHOWN:
                    yield f"{head}: {count(len(told) - _SHOWN, 'more difference')}"
                if olds != news and not told:
                    which, old, new = next(
                        row
                        for row in zip(("wire", "end"), olds, news, strict=True)
                        if row[1] != row[2]
                    )
                    yield (
                        f"{head}: the map is another one: its {which} fingerprint is {new[:16]}, "
                        f"not {old[:16]}"
                    )


def _changes(
    state: State, end: End, own_profiles: Mapping[str, Profile] | None
) -> Iterator[Change]:
    try:
        inside = loads(state.map, path=f"<{state.end}, in the record>")
    except InputError:
        return  # The fingerprints have to say it.
    yield from compare_versions(inside, end, own_profiles=own_profiles)


def _told(change: Change, end: End) -> str:
    form = _WORDS.get(change.kind, _FIELD)
    field = _FIELDS.get(change.field, change.field.replace("_", " ")) or change.kind
    text = form.format(
        subject=change.subject, field=field, before=change.before, after=change.after
    )
    where = change.after_where or end.where
    return f"{text}, {where}"


def drift(recorded: Computed, now: Computed) -> Iterator[str]:
    """Say what differs between the computed part of a record and what the same maps give now."""
    if recorded == now:
        return  # Nearly all records: the long way is for those where something differs.
    old, new = plain(recorded), plain(now)
    for key, words in _PARTS.items():
        found = next(_leaves(old[key], new[key], ()), None)
        if found is not None:
            where, was, is_now = found
            if isinstance(was, str) and "\n" in was:
                # A whole map: the first line that differs says more than the first characters.
                lines = zip_longest(was.splitlines(), is_now.splitlines(), fillvalue="")
                was, is_now = next(pair for pair in lines if pair[0] != pair[1])
            at = f" ({', '.join(where)})" if where else ""
            start = max(0, _common(str(was), str(is_now)) - _BEFORE)
            yield (
                f"computed anew, {words}{at}: {_shown(was, start)} in the record, "
                f"{_shown(is_now, start)} from the maps"
            )


def _leaves(
    old: Any, new: Any, where: tuple[str, ...]
) -> Iterator[tuple[tuple[str, ...], Any, Any]]:
    """Yield where two plain values differ, with both; lists of other lengths differ as a whole."""
    if isinstance(old, dict):
        for name in old:
            yield from _leaves(old[name], new[name], (*where, name.replace("_", " ")))
    elif isinstance(old, list) and len(old) == len(new):
        for number, (one, two) in enumerate(zip(old, new, strict=True), start=1):
            yield from _leaves(one, two, (*where, f"row {number}"))
    elif old != new:
        yield where, old, new


def _common(one: str, two: str) -> int:
    """Return how many characters two texts that differ have in common at their beginning."""
    pairs = zip_longest(one, two)
    return next(number for number, (left, right) in enumerate(pairs) if left != right)


def _shown(value: Any, start: int) -> str:
    """Return a value in short, a long text from ``start`` on."""
    if isinstance(value, list):
        return count(len(value), "row")
    text = str(value)
    if len(text) <= _LONGEST:
        return repr(text)
    rest = text[start : start + _LONGEST]
    return f"{'...' * bool(start)}{rest!r}{'...' * (start + _LONGEST < len(text))}"
