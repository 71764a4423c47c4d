"""What a test campaign has exercised, for people and as JSON for programs."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction

from .._bits import Place
from .._coverage.plan import CoveragePoint
from .._coverage.results import Coverage, CoverageShare, ExercisedRecording, result_json
from .._words import count, ranges
from .document import (
    CAUTION,
    SEEN,
    Block,
    Document,
    Fold,
    Items,
    Paragraph,
    Section,
    StyledText,
    Table,
)

_SHOWN = 20
"""Lines of what is missing that a text prints for each direction; a page and JSON have all."""
_SHOWN_OF_ONE = 8
"""States, codes or runs of bits that are named of one signal; JSON names every one."""
_SHORT = 16
_NAMES = {
    "non-safe value": "signals at a non-safe value",
    "alone": "signals alone at a non-safe value",
    "code point": "code points of coded values",
    "bit": "bits of numbers, at 0 and at 1",
    "transition": "transitions from and to safe values",
    "state": "states that the relations allow",
    "order": "orders that the relations ask for",
    "fault": "faults and restarts",
}


def is_below(coverage: Coverage, least: Fraction | None) -> bool:
    """Tell whether less was exercised than asked for; of nothing, nothing was."""
    return least is not None and (coverage.total.share or Fraction(0)) < least


def _percent(share: Fraction | None) -> str:
    """Return a share in per cent, rounded down so that only all of it is 100."""
    if share is None:
        return "-"
    tenths = share.numerator * 1000 // share.denominator
    return f"{tenths // 10}.{tenths % 10} %"


def document(coverage: Coverage, least: Fraction | None = None) -> Document:
    """Return what was exercised, then what was not, with ``least`` as the share asked for."""
    plan = coverage.plan
    total = coverage.total
    title = (
        f"{plan.link.connection.name} ({plan.link.profile}): {total.seen} of "
        f"{count(total.of, 'point')} exercised in {count(len(coverage.recordings), 'recording')}"
    )
    blocks: list[Block] = [Paragraph(title), Section("", (_kinds(coverage),))]
    blocks.append(Section("Recordings", tuple(_recordings(coverage))))
    blocks += _missing(coverage)
    not_judged = [
        *plan.not_judged,
        *(f"{each.name}: {text}" for each in coverage.recordings for text in each.not_judged),
    ]
    if not_judged:
        title_of = "Not judged, and never counted as exercised"
        blocks.append(Section(title_of, tuple(map(Paragraph, not_judged))))
    verdict = _verdict(coverage, least, whole=not not_judged)
    return Document(title, tuple(blocks), verdict=verdict, footer=(SEEN, CAUTION))


def _kinds(coverage: Coverage) -> Table:
    shares = {**{_NAMES[kind]: each for kind, each in coverage.kinds.items()}}
    rows = [_share(name, each) for name, each in shares.items()]
    rows.append(_share("all", coverage.total))
    return Table(tuple(rows), ("what", "seen", "of", "share"))


def _share(name: str, given: CoverageShare) -> tuple[str, ...]:
    return name, str(given.seen), str(given.of), _percent(given.share)


def _recordings(coverage: Coverage) -> Iterator[Block]:
    rows, looks = [], []
    for each in coverage.recordings:
        numbers = (each.frames, each.accepted, each.used, len(each.seen))
        rows.append((each.name, each.sha256[:_SHORT], *map(str, numbers), _state(each)))
        looks.append("" if each.frames else "error")
    head = ("recording", "SHA-256", "frames", "accepted", "used", "points", "result")
    yield Table(tuple(rows), head, looks=tuple(looks), kinds=("text", "code", *("text",) * 5))
    if coverage.repeated:
        yield Paragraph(f"given more than once, counted once: {', '.join(coverage.repeated)}")


def _state(each: ExercisedRecording) -> str:
    if not each.frames:
        return "no frame of this connection"
    return "clean" if each.clean else "not clean"


def _missing(coverage: Coverage) -> Iterator[Section]:
    """Yield what was not exercised, by direction or end, a line for each signal."""
    first = coverage.first
    scopes: dict[str, dict[str, list[CoveragePoint]]] = {}
    for at, point in enumerate(coverage.plan.points):
        if at not in first:
            scopes.setdefault(point.scope, {}).setdefault(point.subject, []).append(point)
    for scope, subjects in scopes.items():
        lines = tuple(
            f"{subject}: {'; '.join(_told(points))}" for subject, points in subjects.items()
        )
        blocks: list[Block] = [Items(lines[:_SHOWN])]
        if len(lines) > _SHOWN:
            rest = lines[_SHOWN:]
            instead = f"and {len(rest)} more (--format json names every point)"
            blocks.append(Fold(f"{len(rest)} more", (Items(rest),), instead=instead))
        yield Section(f"Not exercised: {scope}", tuple(blocks), kind="long")


def _told(points: Sequence[CoveragePoint]) -> Iterator[str]:
    """Yield what is missing of one signal; what follows from something missing is left out."""
    by_kind: dict[str, list[str]] = {}
    for point in points:
        by_kind.setdefault(point.kind, []).append(point.what)
    if "non-safe value" in by_kind:
        yield "never at a non-safe value"
    else:
        if "alone" in by_kind:
            yield "never alone"
        for what in by_kind.get("transition", ()):
            yield f"no transition {what}" if "->" in what else f"never {what}"
    if "code point" in by_kind:
        yield f"never {_some(by_kind['code point'])}"
    if "bit" in by_kind:
        yield from _bits(by_kind["bit"])
    if "state" in by_kind:
        yield f"never {_some(by_kind['state'], ' | ')}"
    yield from (f"never {what}" for what in by_kind.get("order", ()))
    yield from by_kind.get("fault", ())


def _some(words: Sequence[str], between: str = ", ") -> str:
    shown = between.join(words[:_SHOWN_OF_ONE])
    more = len(words) - _SHOWN_OF_ONE
    return f"{shown} and {more} more" if more > 0 else shown


def _bits(words: Iterable[str]) -> Iterator[str]:
    """Yield the bits that were never 1, then those that were never 0, as ranges of places."""
    places: dict[str, list[int]] = {"1": [], "0": []}
    for word in words:
        place, _, value = word.partition(" at ")
        places[value].append(Place.parse(place).index)
    for value, indices in places.items():
        runs = [
            f"{Place.at(run[0])}-{Place.at(run[-1])}" if len(run) > 1 else str(Place.at(run[0]))
            for run in ranges(indices)
        ]
        if runs:
            yield f"never {value}: {_some(runs)}"


def _verdict(coverage: Coverage, least: Fraction | None, *, whole: bool) -> StyledText:
    share = coverage.total.share
    words = f"{_percent(share)} of the points were exercised"
    if share is None:
        words = "there is nothing that could be exercised"
    if coverage.stopped:
        return StyledText(f"interrupted: until then {words}", "error")
    if is_below(coverage, least):
        return StyledText(f"{words}, less than {_percent(least)}", "error")
    if coverage.empty:
        names = ", ".join(each.name for each in coverage.empty)
        return StyledText(f"{words}; no frame of this connection is in {names}", "error")
    if share == 1:
        if whole:
            return StyledText("every point was exercised", "good")
        return StyledText("every point was exercised; not everything was judged", "strong")
    return StyledText(words, "strong")


def json_text(coverage: Coverage) -> str:
    """Return the results as one JSON document, ASCII only, which a later run can read."""
    whole = {**result_json(coverage), "caution": f"{SEEN} {CAUTION}"}
    return json.dumps(whole, indent=2, ensure_ascii=True) + "\n"
