"""Pages and pictures in a real browser: they render, complain of nothing, serve everybody."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from safeframe import _demo as demo
from safeframe._cli import main

pytestmark = pytest.mark.oracle


def absent(what: str) -> None:
    if os.environ.get("CI"):
        pytest.fail(f"{what} must be installed in CI: the oracle tests cannot be left out")
    pytest.skip(f"{what} is not installed")


try:
    from axe_selenium_python import Axe
    from selenium import webdriver
    from selenium.webdriver.common.by import By
    from selenium.webdriver.common.keys import Keys
except ImportError:
    pytest.skip("selenium and axe-selenium-python are not installed", allow_module_level=True)

FLAGS = (
    *("--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"),
    *("--disable-background-networking", "--disable-component-update", "--disable-sync"),
    *("--disable-dev-shm-usage", "--window-size=1400,1000"),
)


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[webdriver.Chrome]:
    programs = [shutil.which(name) for name in ("chromium", "chromedriver")]
    if None in programs:
        absent("chromium with chromium-driver")
    options = webdriver.ChromeOptions()
    options.binary_location = str(programs[0])
    for flag in (*FLAGS, f"--user-data-dir={tmp_path_factory.mktemp('browser')}"):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    driver = webdriver.Chrome(options, webdriver.ChromeService(str(programs[1])))
    yield driver
    driver.quit()


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


def show(
    browser: webdriver.Chrome, path: Path, media: str = "screen", scheme: str = "light"
) -> None:
    features = [{"name": "prefers-color-scheme", "value": scheme}]
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": media, "features": features})
    browser.get(path.as_uri())


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
    show(browser, site / name, media, scheme)
    axe = Axe(browser)
    axe.inject()
    found = axe.run()
    assert found["violations"] == [], axe.report(found["violations"])
    assert len(found["passes"]) > 15


@pytest.mark.parametrize("name", PAGES)
def test_dark_and_print_have_their_colours(
    browser: webdriver.Chrome, site: Path, name: str
) -> None:
    colours = {}
    for media, scheme in MEDIA:
        show(browser, site / name, media, scheme)
        colours[media, scheme] = browser.execute_script(
            "return getComputedStyle(document.body).backgroundColor"
        )
    assert colours["screen", "light"] == colours["print", "light"] == colours["print", "dark"]
    assert colours["screen", "dark"] != colours["screen", "light"]


@pytest.mark.parametrize("name", PAGES)
def test_the_keyboard_reaches_everything(browser: webdriver.Chrome, site: Path, name: str) -> None:
    show(browser, site / name)
    found = browser.find_elements(By.CSS_SELECTOR, "a, summary, [tabindex='0']")
    # What is folded is reached once it is open.
    seen = "return arguments[0].checkVisibility()"
    stops = [stop for stop in found if browser.execute_script(seen, stop)]
    assert stops
    for stop in stops:
        browser.switch_to.active_element.send_keys(Keys.TAB)
        assert browser.switch_to.active_element == stop
        assert (
            browser.execute_script("return getComputedStyle(document.activeElement).outlineStyle")
            == "solid"
        )
    for summary in browser.find_elements(By.TAG_NAME, "summary"):
        summary.send_keys(Keys.ENTER)
        assert summary.find_element(By.XPATH, "..").get_attribute("open") is not None


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
    browser.set_window_size(500, 900)  # Chromium makes none narrower
    try:
        for name in PAGES:
            show(browser, site / name)
            script = "return document.documentElement.scrollWidth - innerWidth"
            assert browser.execute_script(script) <= 0
    finally:
        browser.set_window_size(1400, 1000)
