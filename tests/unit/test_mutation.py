"""The faults that ``python -m tests.mutation`` puts into the core, on a small piece of code."""

from __future__ import annotations

import ast
from collections import Counter
from pathlib import Path

import pytest

from tests.mutation.__main__ import EQUIVALENT, ROOT, chosen, core, parser
from tests.mutation.faults import Fault, faults
from tests.mutation.trial import Reached, survives

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


def test_faults_of_one_module_and_of_lines(monkeypatch: pytest.MonkeyPatch) -> None:
    path = "safeframe/_pairing/match.py"
    octets = (ROOT / path).read_bytes()
    (line, *_) = sorted({fault.line for fault in faults(octets)})
    everywhere = {fault.line: ["tests/unit/test_pairing.py::one"] for fault in faults(octets)}
    reached = Reached({path: everywhere, "safeframe/_codec.py": {1: []}}, Counter())
    for words, lines in (
        (["--only", "_pairing/match"], set(everywhere)),
        (["--only", "_pairing/match", "--at", str(line)], {line}),
        (["--only", "_codec"], set()),
    ):
        rows = chosen(parser().parse_args([*words, "--sample", "100000"]), reached)
        assert {fault.line for _, fault in rows} == lines
        assert {name for name, _ in rows} <= {path}


def test_a_line_of_constants_is_tried_with_the_line_before_it() -> None:
    """MUST: a row of a table, which no trace shows, is not left out."""
    names = [f"tests/unit/test_pairing.py::{word}" for word in ("one", "two", "three", "four")]
    reached = Reached({"a.py": {2: names, 9: names[:1]}}, Counter())
    assert [bool(reached.of("a.py", Fault(line, 0, 0, "1", "2"))) for line in (1, 2, 3, 9)] == [
        *(False, True, True, True)
    ]
    assert sorted(reached.of("a.py", Fault(3, 0, 0, "1", "2"))) == sorted(names)
    assert reached.of("b.py", Fault(3, 0, 0, "1", "2")) == []


def test_what_changes_no_answer_says_why_and_can_still_be_put_in() -> None:
    rows = [row for row in EQUIVALENT.read_text("utf-8").splitlines() if row[:1] != "#"]
    assert rows
    for row in rows:
        path, old, new, why = row.split(" | ")
        assert why.endswith(".")
        assert (old, new) in {
            (" ".join(fault.old.split()), " ".join(fault.new.split()))
            for fault in faults((ROOT / path).read_bytes())
        }


@pytest.mark.parametrize("name", ["test_words.py::gone_since", "test_gone_since.py::one"])
def test_tests_that_are_gone_notice_nothing(tmp_path: Path, name: str) -> None:
    """MUST: what no test looked at is not told as noticed."""
    for made in ("tests/unit/test_words.py", "safeframe/_words.py"):
        (tmp_path / made).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / made).write_text("def test_one(): pass\n", "utf-8")
    nothing = Fault(1, 0, 0, "", "")
    tests = [f"tests/unit/{name}"]
    assert survives(tmp_path, "safeframe/_words.py", nothing, tests, 60) == "survived"
