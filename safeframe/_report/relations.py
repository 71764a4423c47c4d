"""The relations of one end for a human at a terminal: what they say, forbid and contradict."""

from __future__ import annotations

from collections.abc import Sequence

from .._model import End, Relation
from ..relations import Contradiction, Fault, StateRow, TruthTable
from .text import PLAIN, Look, clean, table

__all__ = ["relations"]


def relations(
    end: End,
    faults: Sequence[Fault],
    contradictions: Sequence[Contradiction],
    tables: Sequence[TruthTable],
    *,
    look: Look = PLAIN,
) -> str:
    """Return every relation with its reason, the truth tables, and what is wrong."""
    count = len(end.relations)
    title = f"{clean(end.name)}: {count} relation{'s'[: count != 1]}"
    lines = [look.paint("strong", title)]
    for relation in end.relations:
        lines += _relation(relation, look)
    for one in tables:
        lines += ["", *_table(one, look)]
    if faults or contradictions:
        lines.append("")
    for fault in faults:
        remedy = f" ({fault.remedy})" if fault.remedy else ""
        text = f"{fault.relation.name} cannot be judged: {fault.message}{remedy}"
        lines += _wrong(text, look)
    for found in contradictions:
        names = ", ".join(relation.name for relation in found.relations)
        lines += _wrong(f"{'; '.join(found.facts)} ({names})", look)
    return "\n".join(lines) + "\n"


def _relation(relation: Relation, look: Look) -> list[str]:
    return [
        *look.wrap(f"{relation.name}: {relation}", first="  ", rest="    "),
        *look.wrap(relation.reason, first="      because: ", rest="      "),
    ]


def _wrong(text: str, look: Look) -> list[str]:
    first, *rest = look.wrap(f"error: {text}", rest="       ")
    return [look.paint("error", first), *rest]


def _table(given: TruthTable, look: Look) -> list[str]:
    rows = [(*given.columns, "")]
    rows += [(*row.values, _verdict(row)) for row in given.rows]
    head, *body = table(rows, indent="  ")
    lines = [head]
    for row, line in zip(given.rows, body, strict=True):
        lines.append(look.paint("error", line) if row.broken else line)
    legal = sum(not row.broken for row in given.rows)
    lines.append(f"  {legal} of {len(given.rows)} states are legal")
    orders = [f"  and their order: {clean(relation.name)}" for relation in given.orders]
    return [*lines, *orders]


def _verdict(row: StateRow) -> str:
    said = f"forbidden by {', '.join(row.broken)}" if row.broken else "legal"
    return f"{said}; all at their safe values" if row.is_safe else said
