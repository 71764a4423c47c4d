"""Every block in every renderer: nothing that a document holds is lost or obeyed."""

from __future__ import annotations

import json
import re
from dataclasses import replace

import pytest

from safeframe._bits import Place
from safeframe._diff import compare_versions
from safeframe._grids import grid
from safeframe._model import Map, Signal
from safeframe._report import changesjson, html, markdown, text
from safeframe._report.document import (
    Block,
    CodeBlock,
    Document,
    Drawing,
    Facts,
    Fold,
    Grids,
    Items,
    Paragraph,
    Point,
    Points,
    Section,
    StyledText,
    Table,
)
from tests.unit.diff_maps import TERMS, end_of, map_of, sig

NASTY = "<b>|`*x*\x1b"
BLOCKS: tuple[Block, ...] = (
    Paragraph(
        ("a ", StyledText(NASTY, "code"), StyledText(" ", ""), StyledText("word", "strong")),
        label="label",
    ),
    Items((NASTY, StyledText("entry", "entry")), label="point"),
    Table((("cell", NASTY),), ("one", "two"), notes=(NASTY,), note_head="more"),
    Table((), ("empty",), caption="nothing yet"),
    Points(
        (Point(StyledText("wire", "error"), NASTY, "sends", ("said",), "a.toml:1"),), ("l",) * 5
    ),
    Facts((("fact", NASTY), ("code", StyledText("0" * 64, "code")))),
    Facts(()),
    CodeBlock(("+ ```", StyledText("- b", "error"))),
    Grids((grid("grid", Map(entries=(Signal(name="g", at=Place(0, 0)),))),) * 2, "both"),
    Grids((grid("alone", Map()),)),
    Drawing("<svg><title>drawn</title></svg>", ("strip __#",), ".x{fill:#fff}"),
    Fold("folded", (Section("inner", (Section("innermost", (Paragraph("deep"),)),)),)),
    Section("", (Paragraph("untitled"),)),
    Section((StyledText("error", "error"), ": rule"), (Paragraph("p"),), kind="long"),
)
WHOLE = Document("title", BLOCKS, StyledText("verdict", "good"), (Paragraph("below"),), ("foot",))
WORDS = ("label", "word", "point", "entry", "cell", "more", "wire", "said", "fact", "grid")
DEEPER = ("innermost", "deep", "untitled", "rule", "verdict", "below", "foot", "nothing yet")


@pytest.mark.parametrize("render", [text.render, markdown.render, html.render])
def test_every_block_is_told_and_nothing_is_obeyed(render: object) -> None:
    assert callable(render)
    shown = render(WHOLE)
    # The head of a last column has no place in a text, and a text has no names of grids.
    absent = {"more", "grid"} if render is text.render else set()
    for word in {*WORDS, *DEEPER} - absent:
        assert word in shown.lower(), word
    assert "\x1b" not in shown
    assert "\\x1b" in shown
    assert ("<b>" in shown) is (render is text.render)


def test_a_drawing_is_a_picture_on_a_page_and_lines_elsewhere() -> None:
    assert "<title>drawn</title>" in html.render(WHOLE)
    assert ".x{fill:#fff}" in html.render(WHOLE)
    assert "```text\nstrip __#\n```" in markdown.render(WHOLE)
    assert "strip __#\n" in text.render(WHOLE)


def test_each_landmark_of_a_page_has_a_name_of_its_own() -> None:
    named = Table((("cell",),), ("head",), caption="table 2")
    sections = (Section("Grid", ()),) * 2
    page = html.render(Document("title", (*sections, *BLOCKS, named, *BLOCKS, *BLOCKS[2:4])))
    names = re.findall(r'role="region" tabindex="0" aria-label="([^"]*)"', page)
    tables = [name for name in names if name.startswith("table")]
    assert len(set(names)) == len(names) == 19
    assert page.count('aria-labelledby="part-') == 3  # Grid, inner and rule, each of them once.
    assert "grid" not in names
    assert tables == ["table", "table 2", "table 2 2", "table 3", "table 4", "table 5"]


def test_a_fence_is_longer_than_what_it_holds() -> None:
    assert "\n````\n+ ```\n- b\n````\n" in markdown.render(WHOLE)


def test_values_of_changes_stay_values_in_json() -> None:
    before = end_of(map_of(sig("a", "0.0", width=32, type="float")))
    after = end_of(map_of(sig("a", "0.1", width=32, type="float", safe=float("inf"))))
    found = compare_versions(before, after)
    sides = [
        (one["field"], one["before"]["value"], one["after"]["value"], one["after"]["unit"])
        for one in json.loads(changesjson.changes("versions", ["SC1"], found))["changes"]
        if one["kind"] not in ("size", "reserve")
    ]
    assert ("at", "0.0", "0.1", "") in sides
    assert ("safe", 0, "inf", "") in sides


def test_sizes_stay_numbers_in_json() -> None:
    one, two = (
        end_of(map_of(), connection_table=replace(TERMS, legal_octets=sizes))
        for sizes in ((2, 4), (2,))
    )
    found = compare_versions(one, two)
    (change,) = json.loads(changesjson.changes("versions", ["SC1"], found))["changes"]
    assert (change["before"]["value"], change["after"]["value"]) == ([2, 4], [2])


def test_one_style_for_many_drawings() -> None:
    drawing = Drawing("<svg></svg>", (), ".only{fill:#123}")
    page = html.render(Document("title", (drawing, drawing)))
    assert page.count(drawing.svg) == 2
    assert page.count(drawing.style) == 1
