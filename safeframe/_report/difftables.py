"""What a comparison of map files says as sections of tables, for a page or a summary."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from .._diff import Change, ChangeClass, EditComparison, MixedState, MixedTable
from . import markdown
from . import shell as page
from .paths import relative
from .text import CAUTION

__all__ = ["Section", "changes", "edits", "to_html", "to_markdown"]


class Section(NamedTuple):
    """A part of the comparison: ``rows`` under ``head``, or only ``words``."""

    title: str
    words: str = ""
    head: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()


_HEAD = ("level", "what", "section", "difference", "before", "after", "file")
_VERDICTS = {
    "identical": "{} and {} were edited identically",
    "different": "{} and {} were not edited identically",
    "ends differ": "{} and {} differ after the edits",
}


def changes(given: Sequence[Change], classes: ChangeClass | None) -> list[Section]:
    """Return the sections of a comparison of two map files."""
    found = [_changes("", given)]
    return found if classes is None else [*found, _classes(classes)]


def _points(count: int) -> str:
    if not count:
        return "agree"
    return "differ in 1 point" if count == 1 else f"differ in {count} points"


def edits(
    given: EditComparison, classes: ChangeClass, mixed: Iterable[MixedState]
) -> list[Section]:
    """Return the sections of a comparison of both edits."""
    first, second = given.ends
    verdict = _VERDICTS.get(given.outcome, "Nothing changed that {} and {} share")
    rows = [
        (difference.level, difference.subject, difference.section, step.end, step.did)
        for difference in given.differences
        for step in difference.steps
    ]
    states = [
        ("Before the edits", len(given.disagreed)),
        ("after the edits", len(given.disagree)),
    ]
    words = "; ".join(f"{when} the ends {_points(count)}" for when, count in states)
    head = ("level", "what", "section", "end", "did")
    found = [
        Section(verdict.format(first, second), f"{words}.", head if rows else (), tuple(rows)),
        _classes(classes),
    ]
    for mix in mixed:
        state = f"{mix.updated} is updated, {mix.outdated} is still old"
        if mix.disagreeing:
            found.append(Section(state, "", ("what", "then"), mix.disagreeing))
        found += [_mixed(one, state) for one in mix.tables]
    names = zip(given.ends, given.edits, strict=True)
    return [*found, *(_changes(f"Edit of {end}: ", own) for end, own in names)]


def _changes(prefix: str, given: Sequence[Change]) -> Section:
    if not given:
        return Section(f"{prefix}no difference")
    title = f"{prefix}{len(given)} difference{'s'[: len(given) != 1]}"
    left, right = given[0].sides
    head = (*_HEAD[:4], left, right, _HEAD[-1])
    return Section(title, "", head, tuple(map(_change, given)))


def _change(change: Change) -> tuple[str, ...]:
    wheres = [where for where in (change.before_where, change.after_where) if where]
    files = dict.fromkeys(
        f"{relative(where.path)}:{where.line}" if where.line else relative(where.path)
        for where in wheres
    )
    told = f"{change.kind} {change.field}".rstrip()
    before, after = change.before, change.after
    return change.level, change.subject, change.section, told, before, after, ", ".join(files)


def _classes(given: ChangeClass) -> Section:
    if not given.reasons:
        return Section("Change class: none", "Nothing changed that both ends share.")
    rows = tuple(
        (reason.name, reason.subject, reason.why, " and ".join(reason.ends))
        for reason in given.reasons
    )
    title = f"Change class: {', '.join(given.names)}"
    return Section(title, "", ("class", "what", "why", "at"), rows)


def _mixed(given: MixedTable, state: str) -> Section:
    title = f"{given.direction} while {state}"
    sizes = f"Octets: {given.sent_octets} sent, {given.expected_octets} expected"
    if not given.accepted:
        why = f" (not the same: {', '.join(given.refused)})" if given.refused else ""
        words = f"{sizes}: not accepted{why}, every signal of {given.consumer} has its safe value."
        return Section(title, words)
    rows = tuple(
        (
            str(row.at),
            row.signal,
            " + ".join(map(str, row.gets)) or "sent, not read",
            row.verdict,
            row.consequence,
        )
        for row in given.affected
    )
    rest = len(given.rows) - len(rows)
    words = f"{sizes}. Signals that arrive unchanged: {rest}."
    head = ("place", f"{given.consumer} reads", "comes from", "verdict", "consequence")
    return Section(title, words, head if rows else (), rows)


def to_markdown(title: str, sections: Iterable[Section]) -> str:
    """Return the sections as Markdown."""
    lines = [f"## {markdown.escape(title)}"]
    for section in sections:
        lines += ["", f"### {markdown.escape(section.title)}"]
        if section.words:
            lines += ["", markdown.escape(section.words)]
        if section.rows:
            lines += ["", *markdown.table([section.head, *section.rows])]
    return "\n".join([*lines, "", f"_{CAUTION}_"]) + "\n"


def to_html(title: str, sections: Sequence[Section], pictures: Sequence[tuple[str, str]]) -> str:
    """Return the sections as one HTML page; ``pictures`` are (title, figure) pairs."""
    contents: list[tuple[str, str]] = []
    parts: list[str] = []
    for number, section in enumerate(sections, start=1):
        inside = [page.paragraph(section.words)] if section.words else []
        if section.rows:
            inside.append(page.table(section.title, section.head, section.rows, quiet=True))
        contents.append((f"part-{number}", section.title))
        parts.append(page.section(*contents[-1], inside, kind="long"))
    for number, (name, figure) in enumerate(pictures, start=1):
        contents.append((f"picture-{number}", name))
        parts.append(page.section(*contents[-1], [figure], kind="long"))
    return page.document(title, sections[0].title, contents, "\n".join(parts))
