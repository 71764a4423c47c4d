"""Bit grids: what they say of maps, and the SVG and HTML that show them."""

from __future__ import annotations

import base64
import hashlib
import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from safeframe import _demo as demo
from safeframe import _mapfile as mapfile
from safeframe._bits import Place
from safeframe._cli import main
from safeframe._findings import Counterexample, Finding, NotJudged, Report, Spot, Waived
from safeframe._grids import BitGrid, GridCell, compare, compare_maps, grid
from safeframe._model import ConnectionTable, Direction, End, Map, Reserved, Signal
from safeframe._report import findings, html, markdown, paths, svg
from safeframe._report.document import Document, Grids
from safeframe._report.text import clean
from safeframe._source import Location
from tests import strategies


def small_maps() -> st.SearchStrategy[Map]:
    """Draw maps of at most 40 octets, wrong ones included: longer ones only take longer."""
    entries = (strategies.signals() | strategies.reserved()).filter(
        lambda entry: entry.width <= 128
    )
    near = entries.map(lambda entry: replace(entry, at=Place.at(entry.start % (8 * 24))))
    return st.lists(near, max_size=6).map(lambda rows: Map(entries=tuple(rows)))


NASTY = '<script>x</script>"&\x1b[2J\u202e'


def signal(name: str, at: str, width: int = 1) -> Signal:
    kind = "bool" if width == 1 else "uint"
    return Signal(name=name, at=Place.parse(at), width=width, type=kind)


def reserved(at: str, width: int) -> Reserved:
    return Reserved(at=Place.parse(at), width=width)


def shown(given: BitGrid) -> list[tuple[str, int, str, str]]:
    return [(str(cell.first), cell.width, cell.kind, cell.label) for cell in given.cells]


def test_every_kind_of_bits() -> None:
    data = Map(
        entries=(
            signal("a", "0.0"),
            signal("b", "0.0", 2),
            reserved("0.3", 3),
            signal("c", "0.7", 4),
        )
    )
    assert shown(grid("x", data)) == [
        ("0.0", 1, "twice", "a + b"),
        ("0.1", 1, "signal", "b"),
        ("0.2", 1, "undeclared", "undeclared"),
        ("0.3", 3, "reserved", "reserved"),
        ("0.6", 1, "undeclared", "undeclared"),
        ("0.7", 1, "signal", "c"),
        ("1.0", 3, "signal", "c"),
        ("1.3", 5, "undeclared", "undeclared"),
    ]


def test_every_mark() -> None:
    left = Map(
        entries=(
            *(signal("same", "0.0"), signal("moved", "0.1"), signal("wide", "0.4", 2)),
            *(signal("brake_1", "1.0"), signal("mine", "1.1")),
        )
    )
    right = Map(
        entries=(
            *(signal("same", "0.0"), signal("moved", "0.3"), signal("wide", "0.4", 3)),
            *(signal("brake1", "1.0"), signal("yours", "1.4", 2)),
        )
    )
    one, two = compare_maps(("L", "R"), ("LX", "SC1"), left, right)
    assert [(c.label, c.mark, c.elsewhere) for c in one.marked] == [
        ("moved", "moved", "SC1 0.3"),
        ("wide", "width differs", "SC1 3 bits"),
        ("brake_1", "name differs", "SC1 brake1"),
        ("mine", "only here", ""),
    ]
    assert [(c.label, c.mark, c.elsewhere) for c in two.marked] == [
        ("moved", "moved", "LX 0.1"),
        ("wide", "width differs", "LX 2 bits"),
        ("brake1", "name differs", "LX brake_1"),
        ("yours", "only here", ""),
    ]


class TestGrid:
    """The cells of a grid MUST cover every bit of every octet exactly once, in order."""

    @given(small_maps())
    def test_cover(self, data: Map) -> None:
        cells = grid("x", data).cells
        bits = [cell.first.index + n for cell in cells for n in range(cell.width)]
        assert bits == list(range(8 * data.size_octets))
        assert all(cell.first.octet == cell.last.octet for cell in cells)

    @given(small_maps())
    def test_an_end_does_not_differ_from_itself(self, data: Map) -> None:
        table = ConnectionTable(name="A-B", profile="plain")
        end = End(name="A", peer="B", connection_table=table, sends=data)
        other = End(name="B", peer="A", connection_table=table, receives=data)
        names = [signal.name for signal in data.signals]
        if len(set(names)) == len(names):
            one, two = compare(Direction(producer=end, consumer=other))
            assert one.marked == two.marked == ()
            assert [replace(cell) for cell in one.cells] == list(two.cells)


class TestSvg:
    """A picture MUST be well-formed XML whatever the names are, and tell all of it in words."""

    @given(small_maps(), small_maps())
    def test_well_formed(self, one: Map, two: Map) -> None:
        text = svg.document([[grid("sends", one)], [grid(NASTY, two)]], NASTY)
        root = ElementTree.fromstring(text)
        said = "".join(root.itertext())
        assert "<script>" in said
        assert "\x1b" not in text
        assert "http" not in text.replace('xmlns="http://www.w3.org/2000/svg"', "")
        for signal in one.signals:
            assert clean(signal.name) in said


def read_svg(text: str) -> list[str]:
    return [words for words in ElementTree.fromstring(text).itertext() if words.strip()]


def test_a_difference_is_drawn_and_told_without_colour() -> None:
    texts = {**demo.after(), "lx-sc1.toml": demo.before()["lx-sc1.toml"]}
    first, second = (mapfile.loads(texts[name]) for name in ("sc1-lx.toml", "lx-sc1.toml"))
    text = svg.document([compare(Direction(producer=first, consumer=second))], "t")
    said = read_svg(text)
    assert (
        said[1]
        == "SC1 sends: 2 octets, marked: brake2_release at 1.2 only here; LX receives: 2 octets"
    )
    assert "only here" in said
    assert "brake2_release, 1.2, only here" in said
    assert "speed_level, 1.0 to 1.1" in said
    assert said[-1] == (
        "Thick outline, cross and broken outline: only here; the words in the cell say what the "
        "other one has."
    )
    assert text.count('class="sf-shape"') == 1
    assert 'class="sf-cell sf-signal sf-only"' in text
    assert {"0.0", "1.7", "15", "bit 7", "octet"} <= set(said)


@pytest.mark.parametrize(("octets", "drawn"), [(4, 4), (5, 2), (900, 2)])
def test_many_equal_octets_are_folded(octets: int, drawn: int) -> None:
    data = Map(entries=(reserved("0.0", 8 * octets),))
    said = read_svg(svg.document([[grid("x", data)]], "t"))
    told = f"octets 1 to {octets - 2} as those above and below"
    assert said.count("reserved") == drawn
    assert (told in said) == (octets > 4)
    assert {"0.0", f"{octets - 1}.7"} <= set(said)


def test_octets_of_several_cells_are_never_folded() -> None:
    entries = [reserved(f"{octet}.{bit}", 4) for octet in range(9) for bit in (0, 4)]
    said = read_svg(svg.document([[grid("x", Map(entries=tuple(entries)))]], "t"))
    assert said.count("reserved") == 18


def test_an_empty_map_is_drawn_as_such() -> None:
    assert "no data" in read_svg(svg.document([[grid("x", Map())]], "t"))


@pytest.mark.parametrize(
    ("name", "lines"),
    [
        ("permit_up", ["permit_up"]),
        ("brake1_release", ["brake1_", "release"]),
        ("abcdefghijklmnop", ["abcdefghijkl", "mnop"]),
        ("brake_" + "x" * 20, ["brake_", "xxxxxxxxxxx…"]),
    ],
)
def test_long_names_are_broken_and_cut(name: str, lines: list[str]) -> None:
    said = read_svg(svg.document([[grid("x", Map(entries=(signal(name, "0.0"),)))]], "t"))
    start = said.index(f"{name}, 0.0") + 1
    assert said[start + 2 :][: len(lines)] == lines


def test_a_mark_without_room_for_words() -> None:
    """The highest bit of a value that stands alone in its octet leaves no room."""
    left, right = (Map(entries=(signal("speed", at, 8),)) for at in ("0.1", "0.2"))
    said = read_svg(svg.document([compare_maps(("A", "B"), ("A", "B"), left, right)], "t"))
    cell = said[said.index("speed, 1.0, high 1 bit, moved: B 0.2") :]
    assert cell[1:6] == ["1.0", "8", "high 1 bit", "speed", "…"]


class Reader(HTMLParser):
    """Collects what a page is made of, and checks that its elements nest."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[str] = []
        self.ids: list[str] = []
        self.links: list[str] = []
        self.words = ""
        self.feed(text)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        values = dict(attrs)
        self.ids += filter(None, [values.get("id")])
        self.links += [str(values[key]) for key in ("href", "src") if key in values]
        assert not any(key.startswith("on") for key in values)
        if tag != "meta":
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.words += data


def judge(text: str) -> Reader:
    """Read a page: nothing external, no script, ids unique, links lead somewhere."""
    read = Reader(text)
    assert not {"script", "link", "img", "iframe", "object"} & set(read.tags)
    assert "url(" not in text
    assert "@import" not in text
    assert len(set(read.ids)) == len(read.ids)
    for link in read.links:
        assert link[0] == "#"
        assert link[1:] in read.ids
    return read


FINDING = Finding(
    rule="shifted-signals",
    severity="error",
    message=NASTY,
    remedy="mend it",
    spots=(
        Spot(end="LX", where=Location(path="lx.toml", line=3), place=Place(0, 1), signal=NASTY),
        Spot(end="SC1", where=Location(path="sc1.toml")),
    ),
    connection="A-B",
    producer="A",
    consumer="B",
    details=(NASTY,),
    counterexample=Counterexample(octets=b"\x01", before=b"\x00", rows=(("x", "1", "0"),)),
)


def test_a_report_in_full_as_a_page() -> None:
    mild = replace(
        FINDING, severity="note", producer="", consumer="", connection="", spots=(), details=()
    )
    report = Report(
        findings=(FINDING, replace(mild, counterexample=None)),
        waived=(Waived(finding=FINDING, reason=NASTY, where=Location(path="a.toml", line=2)),),
        connections=("A-B", NASTY),
        known=(FINDING,),
        facts=(("A -> B", "1 signal paired"),),
    )
    one = BitGrid(
        title="A sends", octets=1, cells=(GridCell(first=Place(0, 0), width=8, kind="reserved"),)
    )
    read = judge(page_of(report, Grids((one, one), "A -> B")))
    words = " ".join(read.words.split())
    assert f"A-B, {clean(NASTY)}: 1 error, 1 note" in words
    assert "not counted, known from the baseline: 1" in words
    assert "■ error: shifted-signals [A -> B]" in words
    assert "● note: shifted-signals" in words
    assert "for instance the safety data 00, then 01" in words
    assert "A sends" in read.words
    assert "A -> B: every signal stands at the same place at both ends." in words
    assert "lx.toml:3" in words
    assert words.count("<script>x</script>") >= 5
    assert "\x1b" not in words
    assert "Off-line aid, not certified" in words


def page_of(report: Report, *pictures: Grids) -> str:
    given_document = findings.document(
        report, everything=True, pictures=pictures, where=paths.shown
    )
    return html.render(given_document)


def test_a_clean_report_as_a_page() -> None:
    read = judge(page_of(Report(connections=("A-B",))))
    assert "A-B: both ends agree bit for bit" in read.words
    assert "nav" not in read.tags
    lacks = NotJudged(connection="A-B", rule="edition-differs", reason="r", subject="edition")
    read = judge(page_of(Report(connections=("A-B",), not_judged=(lacks,))))
    assert "not judged: edition (r)" in read.words


def test_a_page_allows_nothing_but_its_own_style() -> None:
    one = grid("x", Map(entries=(signal("a", "0.0"),)))
    text = page_of(Report(connections=("A-B",)), Grids((one,), "x"))
    sheet = re.findall(r"<style>(.*?)</style>", text, flags=re.DOTALL)
    assert len(sheet) == 1
    digest = base64.b64encode(hashlib.sha256(sheet[0].encode()).digest()).decode()
    policy = f"default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'"
    assert f'content="{policy}"' in text
    assert " style=" not in text


def test_the_consumers_half_is_not_told_twice() -> None:
    names = ("A", "B")
    left = Map(entries=(signal("x", "0.0"), signal("l", "0.2")))
    right = Map(entries=(signal("x", "0.1"), signal("r", "0.7", 4)))
    grids = compare_maps(names, names, left, right)
    read = judge(html.render(Document("t", (Grids(grids, "d"),))))
    assert read.tags.count("tr") == 1 + 4  # x, l and both cells of r


def test_a_value_of_two_octets_is_one_box_with_both_octets_named() -> None:
    little = replace(signal("speed", "0.0", 16), type="int")
    one = grid(
        "x", Map(entries=(little, replace(little, name="back", at=Place(2, 0), order="big")))
    )
    assert [(c.label, c.part, c.joined) for c in one.cells] == [
        ("speed", "low octet", True),
        ("speed", "high octet", False),
        ("back", "high octet", True),
        ("back", "low octet", False),
    ]
    text = svg.document([[one]], "t")
    assert text.count('class="sf-join"') == 2
    assert {"low octet", "high octet"} <= set(read_svg(text))
    shown_in = markdown.render(Document("t", (Grids((one,), "x"),)))
    assert "| 1.0 | 8 | speed, high octet |  |" in shown_in


def test_parts_of_values_that_fill_no_octets() -> None:
    cells = grid("x", Map(entries=(signal("n", "0.4", 21),))).cells
    assert [(str(c.first), c.part) for c in cells if c.kind == "signal"] == [
        ("0.4", "low 4 bits"),
        ("1.0", "bits 11-4"),
        ("2.0", "bits 19-12"),
        ("3.0", "high 1 bit"),
    ]
    parts = [c.part for c in grid("x", Map(entries=(signal("n", "0.7", 17),))).cells]
    assert parts[1:4] == ["low 1 bit", "bits 8-1", "high octet"]


def test_another_order_of_octets_is_marked() -> None:
    little = signal("n", "0.0", 16)
    big = replace(little, order="big")
    one, two = compare_maps(("A", "B"), ("A", "B"), Map(entries=(little,)), Map(entries=(big,)))
    marks = {(c.mark, c.elsewhere) for c in (*one.marked, *two.marked)}
    assert marks == {
        ("octet order differs", "B big-endian"),
        ("octet order differs", "A little-endian"),
    }
    text = svg.document([(one, two)], "t")
    assert text.count('class="sf-join-mark"') == 2
    assert "bow tie: octet order differs" in text
    short = signal("n", "0.0", 8)
    one, _ = compare_maps(
        ("A", "B"), ("A", "B"), Map(entries=(short,)), Map(entries=(replace(short, order="big"),))
    )
    assert one.marked == ()  # One octet has no order.


@pytest.fixture
def site(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    for state, files in (("before", demo.before()), ("after", demo.after())):
        (tmp_path / state).mkdir()
        for name, text in files.items():
            (tmp_path / state / name).write_text(text, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_check_writes_page_and_picture(site: Path) -> None:
    pair = ["after/sc1-lx.toml", "before/lx-sc1.toml"]
    assert main(["check", "--html", "r.html", "--svg", "r.svg", *pair]) == 1
    read = judge((site / "r.html").read_text(encoding="utf-8"))
    assert "SC1 -> LX, bit by bit" in read.words
    assert read.tags.count("svg") == 4
    assert "brake2_applied, 1.2, only here" in read_svg((site / "r.svg").read_text("utf-8"))


def test_check_writes_a_picture_alone(site: Path) -> None:
    assert main(["check", "--svg", "r.svg", "after/sc1-lx.toml", "after/lx-sc1.toml"]) == 0
    assert [path.name for path in site.glob("r.*")] == ["r.svg"]


def test_check_draws_what_has_findings_or_the_only_connection(site: Path) -> None:
    assert main(["check", "--html", "one.html", "after/sc1-lx.toml", "after/lx-sc1.toml"]) == 0
    assert judge((site / "one.html").read_text("utf-8")).tags.count("svg") == 4
    assert main(["check", "--html", "all.html", "--svg", "all.svg", "after"]) == 0
    assert judge((site / "all.html").read_text("utf-8")).tags.count("svg") == 12
    assert "LX2 receives" in read_svg((site / "all.svg").read_text("utf-8"))
    text = (site / "after" / "lx-sc1.toml").read_text("utf-8").replace('"1.2"', '"1.4"', 1)
    (site / "after" / "lx-sc1.toml").write_text(text, encoding="utf-8")
    assert main(["check", "--html", "some.html", "after"]) == 1
    read = judge((site / "some.html").read_text("utf-8"))
    assert "SC1-LX: LX -> SC1, bit by bit" in read.words
    assert read.tags.count("svg") == 2


@pytest.mark.parametrize(("direction", "grids"), [("sends", 1), ("receives", 1), ("both", 2)])
def test_show_draws_a_direction(direction: str, grids: int, site: Path) -> None:
    command = ["show", "--svg", "s.svg", "--direction", direction, "after/sc1-lx.toml"]
    assert main(command) == 0
    said = read_svg((site / "s.svg").read_text("utf-8"))
    assert said.count("octet") == grids


STATES = ["before/sc1-lx.toml", "before/lx-sc1.toml", "after/sc1-lx.toml", "after/lx-sc1.toml"]


@pytest.mark.parametrize(
    ("maps", "code", "title", "pictures"),
    [
        (STATES, 0, "SC1-LX: SC1 and LX were edited identically", 8),
        (
            [*STATES[:2], STATES[2], STATES[1]],
            1,
            "SC1-LX: SC1 and LX were not edited identically, 2 differences",
            8,
        ),
        ([*STATES[:2], *STATES[:2]], 0, "SC1-LX: nothing changed that both ends share", 8),
        ([STATES[0], STATES[2]], 1, "SC1: 2 differences (2 wire)", 4),
        ([STATES[0], STATES[0]], 0, "SC1: no difference", 4),
        ([STATES[0], STATES[3]], 1, "SC1 and LX: 2 differences (2 wire)", 4),
    ],
)
def test_diff_as_page_and_markdown(
    maps: list[str],
    code: int,
    title: str,
    pictures: int,
    site: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["diff", "--html", "d.html", "--format", "markdown", *maps]) == code
    read = judge((site / "d.html").read_text("utf-8"))
    assert title in read.words
    assert read.tags.count("svg") == pictures
    out = capsys.readouterr().out
    assert out.startswith("## ")
    assert markdown.escape(title) in out
    assert main(["diff", "--html", "d.html", *maps]) == code
    assert not capsys.readouterr().out.startswith("#")
    assert main(["diff", "--format", "html", *maps]) == code
    page = capsys.readouterr().out
    assert page.isascii()
    assert judge(page).words.split() == read.words.split()


def test_diff_says_what_mixed_states_do(site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    names = ("sc1-lx.toml", "lx-sc1.toml")
    for name in names:
        text = (site / "after" / name).read_text("utf-8").replace("= 100,", "= 120,")
        (site / "after" / name).write_text(text.replace("reserved = 5", "reserved = 13"), "utf-8")
    main(["diff", "--format", "markdown", *STATES])
    out = capsys.readouterr().out
    assert "### While only SC1 is updated and LX is still old" in out
    assert "3 octets sent, 2 expected: the frame is not accepted, so no connection" in out
    assert "every signal of LX falls back to its safe value" in out
    assert "| watchdog_ms | 120 ms at SC1, 100 ms at LX |" in out
    main(["diff", "--format", "markdown", "none.toml", STATES[0]])
    assert capsys.readouterr().out.startswith("## The input cannot be read")


def test_terms_are_not_drawn() -> None:
    end = End(name="A", peer="B", connection_table=ConnectionTable(name="A-B", profile="plain"))
    one, two = compare(Direction(producer=end, consumer=end))
    assert (one.octets, two.octets, one.cells) == (0, 0, ())
