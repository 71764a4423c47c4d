"""The page of a record in a real browser: readable for everybody, printed on both papers."""

from __future__ import annotations

import base64
import re
from pathlib import Path

import pytest

from safeframe import record
from safeframe._report import html
from safeframe._report.record import document, sheet
from tests.unit.record_maps import FRESH, SIGNED

test_browser = pytest.importorskip("tests.oracle.test_browser")

pytestmark = pytest.mark.oracle

RECORDS = {
    "open": FRESH,
    "wrong": record.fill(SIGNED, "LX", checksum="0"),
    "signed": SIGNED,
}
POINTS = {"a4": (595, 842), "letter": (612, 792)}
"""Width and height in points of 1/72 inch: ISO 216 A4 and ANSI A, rounded."""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("records")


def written(folder: Path, name: str, paper: str = "a4") -> Path:
    made = RECORDS[name]
    path = folder / f"{name}-{paper}.html"
    shown = document(made, record.assess(made))
    path.write_text(html.render(shown, sheet=sheet(made, paper=paper)), encoding="utf-8")
    return path


@pytest.mark.parametrize("media", ["screen", "print"])
@pytest.mark.parametrize("name", RECORDS)
def test_accessibility(browser, folder: Path, name: str, media: str) -> None:  # type: ignore[no-untyped-def]
    found = test_browser.audit(browser, written(folder, name), media)
    assert browser.execute("getLog", {"type": "browser"})["value"] == []
    assert len(found["passes"]) > 10


@pytest.mark.parametrize("paper", POINTS)
def test_print(browser, folder: Path, paper: str) -> None:  # type: ignore[no-untyped-def]
    test_browser.show(browser, written(folder, "open", paper), "print")
    command = {"preferCSSPageSize": True}
    document = base64.b64decode(browser.execute_cdp_cmd("Page.printToPDF", command)["data"])
    boxes = re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", document)
    assert 5 <= len(boxes) <= 8
    assert {(round(float(w)), round(float(h))) for w, h in boxes} == {POINTS[paper]}


def test_nothing_is_wider_than_the_page(browser, folder: Path) -> None:  # type: ignore[no-untyped-def]
    test_browser.show(browser, written(folder, "open"))
    try:
        for width in (1400, 400):
            test_browser.resize(browser, width, 1000)
            wide = browser.execute_script(
                "return document.documentElement.scrollWidth - document.documentElement.clientWidth"
            )
            assert wide == 0, width
    finally:
        test_browser.resize(browser, 0, 0)
