"""Pages and pictures in a real browser: they render, complain of nothing, serve everybody."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import pytest

from safeframe import _demo as demo
from safeframe._cli import main

pytestmark = pytest.mark.oracle


try:
    from axe_selenium_python import Axe
    from selenium import webdriver
    from selenium.webdriver import ActionChains
    from selenium.webdriver.common.by import By
    from selenium.webdriver.common.keys import Keys
except ImportError:
    pytest.skip("selenium and axe-selenium-python are not installed", allow_module_level=True)


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Pages and pictures of the demo site."""
    folder = tmp_path_factory.mktemp("site")
    files = {f"before/{name}": text for name, text in demo.before().items()}
    files |= {f"after/{name}": text for name, text in demo.after().items()}
    shifted = next(variant for variant in demo.variants() if variant.name == "shifted")
    files |= {f"shifted/{name}": text for name, text in shifted.site.items()}
    for name, text in files.items():
        (folder / name).parent.mkdir(exist_ok=True)
        (folder / name).write_text(text, encoding="utf-8")
    old = Path.cwd()
    os.chdir(folder)
    try:
        assert main(["check", "--html", "check.html", "--svg", "check.svg", "shifted"]) == 1
        pair = ["after/sc1-lx.toml", "after/lx-sc1.toml"]
        assert main(["check", "--html", "clean.html", *pair]) == 0
        states = ["before/sc1-lx.toml", "before/lx-sc1.toml", *pair]
        assert main(["diff", "--html", "diff.html", *states]) == 0
        row = '{ ends = ["after/sc1-lx.toml", "after/lx-sc1.toml"] }'
        Path("plant.toml").write_text(
            f'format = "safeframe-plant/1"\nname = "hall 3"\nconnections = [{row}]\n',
            encoding="utf-8",
        )
        assert main(["verify", "plant.toml", "--html", "site.html", "--pages", "each"]) == 1
        Path("each/sc1-lx-1.html").rename("one.html")
        assert main(["show", "--svg", "show.svg", pair[0]]) == 0
        made = ["fixtures", "--set", "states", "--seed", "7", "--format", "jsonl"]
        assert main([*made, "-o", "run.jsonl", *pair]) == 0
        lines = Path("run.jsonl").read_text(encoding="utf-8").splitlines(keepends=True)
        # The gap is silence, and makes frames that are rejected.
        Path("cut.jsonl").write_text("".join([*lines[:60], *lines[100:]]), encoding="utf-8")
        assert main(["capture", "--fresh", "--plot", "run.html", "cut.jsonl", *pair]) == 1
    finally:
        os.chdir(old)
    return folder


PAGES = ("check.html", "clean.html", "diff.html", "site.html", "one.html", "run.html")
WITHOUT_CELLS = ("site.html", "run.html")
PICTURES = ("check.svg", "show.svg")
MEDIA = [(media, scheme) for media in ("screen", "print") for scheme in ("light", "dark")]


def emulate(browser: webdriver.Chrome, media: str, scheme: str = "light") -> None:
    features = [{"name": "prefers-color-scheme", "value": scheme}]
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": media, "features": features})


def show(browser: webdriver.Chrome, path: Path, media: str = "screen") -> None:
    emulate(browser, media)
    browser.get(path.as_uri())


def audit(
    browser: webdriver.Chrome, path: Path, media: str, scheme: str = "light"
) -> dict[str, Any]:
    """Return what axe finds, each violation in full; nothing but this leaves it in a page."""
    emulate(browser, media, scheme)
    if browser.execute_script("return window.axe && location.href") != path.as_uri():
        browser.get(path.as_uri())
        Axe(browser).inject()
    found: dict[str, Any] = browser.execute_async_script(
        "axe.run({resultTypes: ['violations']}).then(arguments[0])"
    )
    assert found["violations"] == [], Axe(browser).report(found["violations"])
    return found


def resize(browser: webdriver.Chrome, width: int, height: int) -> None:
    """Give the page a window of this size; of no size, that of the window itself."""
    size = {"width": width, "height": height, "deviceScaleFactor": 0, "mobile": False}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)


@pytest.mark.parametrize("name", [*PAGES, *PICTURES])
def test_renders_without_a_word(browser: webdriver.Chrome, site: Path, name: str) -> None:
    show(browser, site / name)
    assert browser.execute("getLog", {"type": "browser"})["value"] == []
    assert browser.execute_script("return performance.getEntriesByType('resource').length") == 0
    assert (
        browser.execute_script("return document.documentElement.getBoundingClientRect().height")
        > 100
    )
    picture = browser.get_screenshot_as_png()
    assert len(picture) > 8000  # A page of one colour compresses to less.


@pytest.mark.parametrize(("media", "scheme"), MEDIA)
@pytest.mark.parametrize("name", PAGES)
def test_accessibility(
    browser: webdriver.Chrome, site: Path, name: str, media: str, scheme: str
) -> None:
    assert len(audit(browser, site / name, media, scheme)["passes"]) > 15


@pytest.mark.parametrize("name", PAGES)
def test_dark_and_print_have_their_colours(
    browser: webdriver.Chrome, site: Path, name: str
) -> None:
    colours = {}
    show(browser, site / name)
    for media, scheme in MEDIA:
        emulate(browser, media, scheme)
        colours[media, scheme] = browser.execute_script(
            "return getComputedStyle(document.body).backgroundColor"
        )
    assert colours["screen", "light"] == colours["print", "light"] == colours["print", "dark"]
    assert colours["screen", "dark"] != colours["screen", "light"]


STOPS = """
reached = [];
addEventListener("focusin", ({target}) =>
  reached.push([target, getComputedStyle(target).outlineStyle]));
return [...document.querySelectorAll("a, summary, [tabindex='0']")]
  .filter(stop => stop.checkVisibility())
"""


@pytest.mark.parametrize("name", PAGES)
def test_the_keyboard_reaches_everything(browser: webdriver.Chrome, site: Path, name: str) -> None:
    show(browser, site / name)
    # What is folded is reached once it is open.
    stops = browser.execute_script(STOPS)
    assert stops
    ActionChains(browser).send_keys(Keys.TAB * len(stops)).perform()
    assert browser.execute_script("return reached") == [[stop, "solid"] for stop in stops]
    for summary in browser.find_elements(By.TAG_NAME, "summary"):
        summary.send_keys(Keys.ENTER)
        assert browser.execute_script("return arguments[0].parentElement.open", summary)


def test_print_shows_what_is_folded(browser: webdriver.Chrome, site: Path) -> None:
    script = "return document.querySelector('details ul').checkVisibility()"
    show(browser, site / "check.html")
    assert browser.execute_script(script) is False
    show(browser, site / "check.html", "print")
    assert browser.execute_script(script) is True


WIDER = """
return [...document.querySelectorAll('g')].flatMap(g => {
  const box = g.querySelector(':scope > rect');
  if (!box) return [];
  const limit = box.getBBox();
  return [...g.querySelectorAll(':scope > text')].filter(t => {
    const b = t.getBBox();
    return b.x < limit.x || b.x + b.width > limit.x + limit.width
      || b.y < limit.y || b.y + b.height > limit.y + limit.height;
  }).map(t => t.textContent);
})
"""


@pytest.mark.parametrize(
    "name", [*(name for name in PAGES if name not in WITHOUT_CELLS), *PICTURES]
)
def test_every_word_stays_inside_its_cell(browser: webdriver.Chrome, site: Path, name: str) -> None:
    show(browser, site / name)
    assert browser.execute_script("return document.querySelectorAll('g > rect').length") > 20
    assert browser.execute_script(WIDER) == []


def test_a_narrow_window_scrolls_no_page(browser: webdriver.Chrome, site: Path) -> None:
    resize(browser, 500, 900)
    try:
        for name in PAGES:
            show(browser, site / name)
            script = "return document.documentElement.scrollWidth - innerWidth"
            assert browser.execute_script(script) <= 0
    finally:
        resize(browser, 0, 0)
