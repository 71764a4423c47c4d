"""Every rule against its own good and bad maps."""

from __future__ import annotations

import pytest

from safeframe import _checks as checks
from tests.rules.examples import DOCS, Example, examples, expected, pages, report

EXAMPLES = examples()


def test_every_rule_has_an_example() -> None:
    assert [rule.name for rule in checks.RULES] == sorted(EXAMPLES)


@pytest.mark.parametrize(("name", "example"), EXAMPLES.items(), ids=EXAMPLES)
def test_good_maps_are_silent(name: str, example: Example) -> None:
    assert report(example.good).findings == ()


@pytest.mark.parametrize(("name", "example"), EXAMPLES.items(), ids=EXAMPLES)
def test_bad_maps_are_found_by_their_rule_only(name: str, example: Example) -> None:
    found = report(example.bad).findings
    assert {finding.rule for finding in found} == {name}
    assert len(found) == 1, [finding.message for finding in found]
    spots = {(name, spot.where.path, spot.where.line) for spot in found[0].spots}
    assert expected(example.bad) <= spots
    assert expected(example.bad)


def test_pages_are_up_to_date() -> None:
    for path, text in pages().items():
        assert path.read_text(encoding="utf-8") == text, f"run python -m tests.rules: {path.name}"
    names = {path.name for path in (DOCS / "rules").glob("*.md")}
    assert names == {f"{rule.name}.md" for rule in checks.RULES}
