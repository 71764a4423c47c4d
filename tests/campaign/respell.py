"""The same said in another way: nothing that may change a finding."""

from __future__ import annotations

from random import Random

from .tiny import Pair, Row, Rows, Side


def respell(random: Random, pair: Pair) -> None:
    """Write some rows and tables of one end otherwise, with the same meaning."""
    end = random.choice(pair.ends)
    _table(random, end)
    for rows in (end.sends, end.receives):
        for row in rows:
            if row.name and random.random() < 0.3:
                _row(random, row)
        if random.random() < 0.4:
            _split(random, rows)


def _table(random: Random, end: Side) -> None:
    sizes = end.table.get("legal_octets")
    if sizes:
        end.table["legal_octets"] = random.sample(sizes, len(sizes))
    if "edition" in end.table and random.random() < 0.5:
        end.table["edition"] = f" {end.table['edition']} "


def _row(random: Random, row: Row) -> None:
    row.one_means = random.choice((row.one_means.upper(), f" {row.one_means}  "))
    row.one_means = row.one_means if row.one_means.strip() else ""
    row.codes = {value: name.title() for value, name in row.codes.items()}
    if row.scale != "1":
        row.scale = f"{row.scale}0" if "." in row.scale else f"{row.scale}.0"
    if row.width == 8 and row.start % 8 == 0:
        row.order = "big"


def _split(random: Random, rows: Rows) -> None:
    """Cut one reserved run in two."""
    runs = [number for number, row in enumerate(rows) if not row.name and row.width > 1]
    if runs:
        number = random.choice(runs)
        run = rows[number]
        first = random.randrange(1, run.width)
        rest = Row(run.start + first, run.width - first)
        run.width = first
        rows.insert(number + 1, rest)
