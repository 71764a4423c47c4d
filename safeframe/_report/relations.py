"""The relations of one end: what they say, forbid and contradict."""

from __future__ import annotations

from collections.abc import Sequence

from .._model import End
from .._words import count
from ..relations import Contradiction, Fault, StateRow, TruthTable
from .document import Block, Document, Items, Paragraph, Section, StyledText, Table


def document(
    end: End,
    faults: Sequence[Fault],
    contradictions: Sequence[Contradiction],
    tables: Sequence[TruthTable],
) -> Document:
    """Return every relation with its reason, the truth tables, and what is wrong."""
    said = tuple(
        block
        for relation in end.relations
        for block in (
            Paragraph((StyledText(relation.name, "strong"), f": {relation}")),
            Paragraph(relation.reason, label="    because"),
        )
    )
    wrong = [_cannot(fault) for fault in faults]
    for found in contradictions:
        names = ", ".join(relation.name for relation in found.relations)
        wrong.append(f"{'; '.join(found.facts)} ({names})")
    blocks: tuple[Block, ...] = (*said, *map(_table, tables))
    if wrong:
        errors = tuple(StyledText(text, "error") for text in wrong)
        blocks += (Section("", (Items(errors, label="error"),)),)
    return Document(f"{end.name}: {count(len(end.relations), 'relation')}", blocks, footer=())


def _cannot(fault: Fault) -> str:
    remedy = f" ({fault.remedy})" if fault.remedy else ""
    return f"{fault.relation.name} cannot be judged: {fault.message}{remedy}"


def _table(given: TruthTable) -> Section:
    legal = sum(not row.broken for row in given.rows)
    orders = tuple(Paragraph(f"and their order: {relation.name}") for relation in given.orders)
    return Section(
        "",
        (
            Table(
                tuple((*row.values, _verdict(row)) for row in given.rows),
                (*given.columns, ""),
                looks=tuple("error" if row.broken else "" for row in given.rows),
            ),
            Paragraph(f"{legal} of {count(len(given.rows), 'state')} are legal"),
            *orders,
        ),
    )


def _verdict(row: StateRow) -> str:
    said = f"forbidden by {', '.join(row.broken)}" if row.broken else "legal"
    return f"{said}; all at their safe values" if row.is_safe else said
