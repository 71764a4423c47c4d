"""What can be selected in a device file, and how a selection is found by its path."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from ._decisions import Decisions
from ._numbers import number
from ._placing import PlacedTypes
from ._refusals import Refusals, shown

Place = Callable[[Decisions, Refusals], "list[tuple[str, PlacedTypes]]"]
_MOST_SHOWN = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """One thing that can be selected: ``path`` names it, ``line`` is where it begins.

    ``side`` is what it is to the device, ``sends``, ``receives`` or ``both``, empty where the file
    does not say. ``look`` returns its title, its size in bits as far as it is known, and what was
    recognised; ``place`` its layouts, each with its side.
    """

    path: str
    line: int
    side: str = ""
    look: Callable[[], tuple[str, int | None, str]] = field(compare=False, repr=False)
    place: Place = field(compare=False, repr=False)


def select(
    candidates: Sequence[Candidate], wanted: Sequence[str], refusals: Refusals
) -> list[Candidate]:
    """Return the candidates that the paths name; one for each path, or a problem."""
    if not candidates:
        refusals.stop("not-found", 0, "the file must describe data that can be selected, not none")
    if not wanted:
        sides = [candidate.side for candidate in candidates]
        if len(candidates) == 1 or sorted(sides) == ["receives", "sends"]:
            return list(candidates)
        _ambiguous(candidates, "", refusals)
    chosen: list[Candidate] = []
    for path in wanted:
        found = [one for one in candidates if _names(path, one)]
        if not found:
            paths = ", ".join(one.path for one in candidates[:_MOST_SHOWN])
            more = " ..." if len(candidates) > _MOST_SHOWN else ""
            refusals.add(
                "not-found",
                0,
                f"a selection must be in the file, not {shown(path)}",
                f"--list shows what is: {paths}{more}",
            )
        elif len(found) > 1:
            _ambiguous(found, path, refusals)
        elif found[0] in chosen:
            refusals.add(
                "ambiguous-selection", found[0].line, f"{path} must be selected once, not twice"
            )
        else:
            chosen += found
    refusals.refuse()
    return chosen


def _ambiguous(found: Sequence[Candidate], path: str, refusals: Refusals) -> None:
    listed = ", ".join(f"{one.path} (line {one.line})" for one in found[:_MOST_SHOWN])
    more = " ..." if len(found) > _MOST_SHOWN else ""
    what = shown(path) if path else "what to import"
    lines = " or ".join(f"@{one.line}" for one in found[:2])
    refusals.stop(
        "ambiguous-selection",
        found[0].line,
        f"{what} must name one thing, not {len(found)}: {listed}{more}",
        f"--select PATH as --list prints it, or by its line: --select {lines}",
    )


def _names(path: str, candidate: Candidate) -> bool:
    if path.startswith("@"):
        return number(path[1:]) == candidate.line
    return _canonical(path) == _canonical(candidate.path)


def _canonical(path: str) -> tuple[str, ...]:
    """Return the parts of a path, numbers as decimal digits, so that 0x1601 is #x1601."""
    parts = path.replace("/", ":").split(":")
    return tuple(part if (value := number(part)) is None else str(value) for part in parts)
