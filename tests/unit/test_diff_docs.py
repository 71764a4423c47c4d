"""The tables of docs/diff.md say what the code does."""

from __future__ import annotations

from pathlib import Path

from safeframe._diff import CLASSES, FIELDS, LEVELS, VERDICTS

PAGE = (Path(__file__).resolve().parents[2] / "docs" / "diff.md").read_text(encoding="utf-8")


def rows_under(header: str) -> list[list[str]]:
    """Return the cells of the table with this header line."""
    lines = PAGE.split(f"{header}\n", 1)[1].splitlines()[1:]
    end = lines.index("")
    return [[cell.strip("` ") for cell in line.strip("|").split("|")] for line in lines[:end]]


def test_the_level_of_every_field() -> None:
    assert rows_under("| part | field | level | kind | held by |") == [
        [table, field, rule.level, rule.kind, "both ends" if rule.shared else "one end"]
        for table, fields in FIELDS.items()
        if table not in ("Relation", "Allowance")
        for field, rule in fields.items()
    ]


def test_levels_classes_and_verdicts_in_order() -> None:
    assert [row[0] for row in rows_under("| level | what differs |")] == list(LEVELS)
    assert [row[0] for row in rows_under("| class | belongs here |")] == list(CLASSES)
    assert [row[0] for row in rows_under("| verdict | meaning |")] == list(VERDICTS)
