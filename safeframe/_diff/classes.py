"""What kind of change an edit is: the classes it belongs to, each with its reasons."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from .._model import Connection
from ..protocols import Profile
from .changes import Change
from .ends import compare_versions
from .order import in_order_of

CLASSES = (
    "relocating",
    "semantic",
    "resizing",
    "identity",
    "timing",
    "taken from a gap",
)
"""From worst to mildest, by how silent a mix of old and new ends is: common practice, see
docs/diff.md. A relocated bit is read as another one with nothing on the wire to tell; a frame of
another size is refused; a bit from a gap reads 0."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ClassReason:
    """Why an edit belongs to a class; ``ends`` are the ends whose edit says so."""

    name: str
    subject: str
    why: str
    ends: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangeClass:
    """All reasons, worst class first; no reason means that no shared fact changed."""

    reasons: tuple[ClassReason, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """The classes that apply, worst first."""
        return tuple(dict.fromkeys(reason.name for reason in self.reasons))


def classify(
    before: Connection, after: Connection, *, own_profiles: Mapping[str, Profile] | None = None
) -> ChangeClass:
    """Return the classes of the edits of both ends together.

    The ends are paired as by ``compare_edits``; ``own_profiles`` are the user's profiles by name.

    >>> first, second = safeframe.load("sc1.toml"), safeframe.load("lx.toml")
    >>> connection = safeframe.Connection(first=first, second=second)
    >>> safeframe.classify(connection, connection).names
    ()
    """
    edits = [
        (new.name, compare_versions(old, new, own_profiles=own_profiles))
        for old, new in zip(before.ends, in_order_of(before, after).ends, strict=True)
    ]
    return classify_changes(edits)


def classify_changes(edits: Iterable[tuple[str, Iterable[Change]]]) -> ChangeClass:
    """Return the classes of (end name, changes of that end) pairs, the first end first.

    Ends share a reason only where it tells the edit of both: of one direction, in one wording.
    """
    ends_of: dict[tuple[str, str, str, str], list[str]] = {}
    for number, (end, changes) in enumerate(edits):
        for change in changes:
            # What one end sends is what the other one receives.
            section = _MIRRORED.get(change.section, change.section) if number else change.section
            for name, why in _reasons(change):
                ends_of.setdefault((section, name, change.subject, why), []).append(end)
    # The same in both directions of the same ends, such as a new data size, is told once.
    reasons = dict.fromkeys(
        ClassReason(name=name, subject=subject, why=why, ends=tuple(dict.fromkeys(ends)))
        for (_, name, subject, why), ends in ends_of.items()
    )
    return ChangeClass(
        reasons=tuple(sorted(reasons, key=lambda reason: CLASSES.index(reason.name)))
    )


_MIRRORED = {"sends": "receives", "receives": "sends"}

# (kind, field) of a change to its class; an empty field stands for every field of the kind.
_BY_FIELD = {
    ("moved", "at"): "relocating",
    ("attribute", "order"): "relocating",
    ("resized", "width"): "resizing",
    ("size", ""): "resizing",
    ("attribute", "type"): "semantic",
    ("attribute", "safe"): "semantic",
    ("attribute", "one_means"): "semantic",
    ("attribute", "edge"): "semantic",
    ("attribute", "unit"): "semantic",
    ("attribute", "scale"): "semantic",
    ("attribute", "codes"): "semantic",
    ("attribute", "valid_by"): "semantic",
    # A map cannot prove that a new name stands for the old thing: treat it as a new thing.
    ("renamed", "name"): "semantic",
    ("attribute", "profile"): "identity",
    ("attribute", "edition"): "identity",
    ("attribute", "id"): "identity",
    ("attribute", "legal_octets"): "identity",
    ("attribute", "network"): "identity",
    ("attribute", "name"): "identity",
    ("attribute", "peer"): "identity",
    ("attribute", "role"): "identity",
    ("attribute", "address"): "identity",
    ("parameter", ""): "identity",
    ("attribute", "watchdog_ms"): "timing",
    ("attribute", "exchange_ms"): "timing",
    ("attribute", "permitted_reaction_ms"): "timing",
}


def _reasons(change: Change) -> list[tuple[str, str]]:
    if change.kind == "added":
        return _added(change)
    if change.kind == "removed":
        return [("semantic", f"its bits at {change.before} lose their meaning")]
    if change.kind == "reserve":
        return _reserve(change)
    name = _BY_FIELD.get((change.kind, change.field)) or _BY_FIELD.get((change.kind, ""))
    if name is None:
        return []  # Level text: nothing of it reaches the other end.
    field = f"{change.field} " if change.field else ""
    return [(name, f"{field}{change.before} -> {change.after}")]


def _added(change: Change) -> list[tuple[str, str]]:
    reasons: list[tuple[str, str]] = []
    for ground in change.taken:
        if ground.kind == "gap" and not ground.value:
            old, new = ground.reserve
            why = f"from the gap at {ground.at}: reserve {old} -> {new} bits"
            place = change.places[1]
            # Where in the gap decides what the other end reads: a bit at its start needs no word.
            reasons.append(("taken from a gap", why if place == ground.at else f"at {place} {why}"))
        elif ground.kind == "gap":
            why = f"the gap at {ground.at} carried 0x{ground.value:X} on these bits"
            reasons.append(("semantic", why))
        elif ground.kind == "signal":
            reasons.append(("semantic", f"its bits at {ground.at} belonged to {ground.name}"))
        elif ground.kind == "undeclared":
            why = f"the bits at {ground.at} were not declared: nothing says that they carried 0"
            reasons.append(("semantic", why))
        else:
            reasons.append(("resizing", f"the bits at {ground.at} lie beyond the old data"))
    return reasons


def _reserve(change: Change) -> list[tuple[str, str]]:
    if change.level == "text":
        return []
    grounds = change.taken + change.left
    name = "resizing" if grounds and grounds[0].kind == "beyond" else "semantic"
    return [(name, f"{change.before} -> {change.after}")]
