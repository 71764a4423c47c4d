"""The faults that ``python -m tests.mutation`` puts into the core, on a small piece of code."""

from __future__ import annotations

import ast

from tests.mutation.__main__ import ROOT, core
from tests.mutation.faults import faults

SOURCE = b'''\
"""Say nothing of this."""
import os
__all__ = ["a"]


def a(x: int, y: int) -> bool:
    """Nor of this."""
    seen = [n for n in zip(x, y, strict=True) if n]
    seen.append(x)
    if x < y + 1 and not seen:
        raise ValueError(f"{x + 1}")
    return any(seen)
'''


def test_every_kind_of_fault_and_no_other() -> None:
    assert [str(one) for one in faults(SOURCE)] == [
        "8: [n for n in zip(x, y, strict=True) if n]  ->  ([n for n in zip(x, y, strict=True)])",
        "8: zip(x, y, strict=True)  ->  (zip(y, x, strict=True))",
        "9: seen.append(x)  ->  pass",
        "10: x < y + 1  ->  (x <= y + 1)",
        "10: x < y + 1  ->  (x >= y + 1)",
        "10: x < y + 1 and not seen  ->  (not seen)",
        "10: x < y + 1 and not seen  ->  (x < y + 1 or not seen)",
        "10: x < y + 1 and not seen  ->  (x < y + 1)",
        "10: y + 1  ->  (y - 1)",
        "10: 1  ->  (1 - 1)",
        "10: 1  ->  (2)",
        "10: not seen  ->  (seen)",
        "12: return any(seen)  ->  return None",
        "12: return any(seen)  ->  return not any(seen)",
        "12: any(seen)  ->  (all(seen))",
    ]


def test_a_fault_changes_its_place_and_nothing_else() -> None:
    for one in faults(SOURCE):
        made = one.put_into(SOURCE)
        ast.parse(made)
        assert made != SOURCE
        assert made[: one.start] == SOURCE[: one.start]
        assert made.endswith(SOURCE[one.end :])


def test_the_core_can_be_spoilt() -> None:
    assert len(core()) > 40
    octets = (ROOT / "safeframe/_pairing/match.py").read_bytes()
    assert len(faults(octets)) > 80
