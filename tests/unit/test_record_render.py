"""Records as pages: what they show, what they escape, what they leave out."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from html.parser import HTMLParser
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from safeframe import record
from safeframe._errors import InputError
from safeframe._model import Connection, Map, Provenance
from safeframe._report import assessment as assessments
from safeframe._report import html as pages
from safeframe._report import text
from safeframe._report.assessment import json_text, summary
from safeframe._report.document import (
    Block,
    Document,
    Items,
    Paragraph,
    Section,
    StyledText,
    Table,
    strong,
)
from safeframe._report.document import (
    plain as words,
)
from safeframe._report.markdown import render as markdown
from safeframe._report.record import PAPERS, document, sheet
from safeframe.record import Assessment, Record
from tests.unit.record_maps import AFTER, BEFORE, FRESH, SIGNED, TESTED, acts_of, data_of, with_acts
from tests.unit.schemas import validate
from tests.unit.test_record import signed_record_of

_VOID = ("meta", "col", "wbr", "br")


class Reader(HTMLParser):
    """Checks nesting and keeps the text of every cell and paragraph."""

    def __init__(self, given: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.cells: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.feed(given)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag in ("td", "th", "p", "li", "caption", "h1", "h2", "title"):
            self.cells.append("")
        if tag not in _VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if self.cells and "style" not in self.open:
            self.cells[-1] += data


def page_of(given: Record) -> Document:
    return document(given, record.assess(given))


def html(given: Document, more: str = "") -> str:
    return pages.render(given, sheet=more)


def html_of(given: Record) -> Reader:
    return Reader(html(page_of(given)))


def sections(given: Document) -> list[Section]:
    return [block for block in given.blocks if isinstance(block, Section)]


LEFT = (
    "What no rule could judge, because maps or profile leave it open, stands in no record: "
    "safeframe record verify names it."
)


def test_eleven_parts() -> None:
    parts = sections(page_of(FRESH))
    assert [words(part.title).partition(". ")[2] for part in parts] == [
        "Request",
        "Before the change",
        "Bits before and after",
        "What kind of change",
        "After the change",
        "Read-back from the devices",
        "Tests",
        "Findings and what was allowed",
        "Approvals",
        "History",
        "Validity",
    ]


def test_status() -> None:
    fresh = page_of(FRESH)
    assert fresh.verdict == StyledText("NOT COMPLETE AND SIGNED: 34 POINTS OPEN", "error")
    assert fresh.below == ()
    assert page_of(SIGNED).verdict == StyledText(
        "COMPLETE AND SIGNED: compare with the map files before use (safeframe record verify)",
        "good",
    )
    wrong = page_of(record.fill(SIGNED, "LX", who="A. Berg", when="2026-03-04", checksum="0"))
    assert words(wrong.verdict) == "NOT COMPLETE AND SIGNED: 3 FAULTS"
    both = page_of(record.new(BEFORE, Connection(first=AFTER.first, second=BEFORE.second)))
    assert words(both.verdict) == "NOT COMPLETE AND SIGNED: 3 FAULTS, 31 POINTS OPEN"
    (items,) = wrong.below
    assert isinstance(items, Items)
    assert len(items.items) == 3


def test_markdown() -> None:
    shown = markdown(page_of(FRESH))
    assert shown.startswith(
        "## Record of a change: SC1-LX\n\n**NOT COMPLETE AND SIGNED: 34 POINTS OPEN**\n\n"
        "### 1\\. Request\n"
    )
    assert "\n| reason | second holding brake |\n" in shown
    assert (
        "\n| `1.2` | reserved | brake2_release | Lift.Brake2Release | Drive.Brake2Release | "
        "changed |\n" in shown
    )
    assert "\n| `1.3-1.7` | as after | reserved | \\- | \\- |  |\n" in shown
    assert "\n**Class of the change: taken from a gap. Both ends edited alike: yes.**\n" in shown
    assert (
        "\n| `1.2` | brake2_applied | reserved, always 0 | constant | always 0, its safe value: "
        'never "holding brake 2 is applied" |\n' in shown
    )
    assert "\n| `SC1.brake2_release.non-safe *` | SC1: set brake2_release" in shown
    assert f"The computed part has the fingerprint:** `{FRESH.computed_sha256}`\n" in shown
    assert shown.endswith(
        "_Generated safety data are for benches and simulators only, never for a live machine._\n"
    )


def texts_of(block: Block) -> list[str]:
    if isinstance(block, Table):
        return [block.caption, *block.head, *(cell for row in block.rows for cell in row)]
    assert isinstance(block, Paragraph)
    return [words(block.words)]


def test_html_and_text_hold_all_that_the_record_says() -> None:
    for made in (FRESH, SIGNED):
        cells = {re.sub(r"\s+", "", cell) for cell in html_of(made).cells}
        shown = re.sub(r"\s+", "", text.render(page_of(made), text.Look(width=10_000)))
        for part in sections(page_of(made)):
            for block in part.blocks:
                for wanted in texts_of(block):
                    assert re.sub(r"\s+", "", wanted) in cells
                    assert re.sub(r"\s+", "", wanted) in shown


def test_html_needs_nothing_from_outside() -> None:
    given = html(page_of(SIGNED))
    assert not re.search(r"https?:|//|url\(|@import|<script|<img|<link|src=|href=.[^#]", given)
    reader = Reader(given)
    assert ("html", {"lang": "en"}) in reader.tags
    heads = [attrs for tag, attrs in reader.tags if tag == "th"]
    assert all(attrs in ({"scope": "col"}, {"scope": "row"}) for attrs in heads)
    captions = sum(tag == "caption" for tag, _ in reader.tags)
    assert captions == sum(tag == "table" for tag, _ in reader.tags) > 10


@pytest.mark.parametrize("paper", PAPERS)
def test_paper(paper: str) -> None:
    shown = html(page_of(FRESH), sheet(FRESH, paper=paper))
    assert f"@page {{ size: {PAPERS[paper]};" in shown


def test_fingerprints_are_grouped_and_copied_whole() -> None:
    groups = "<wbr>".join(
        f"<span>{FRESH.computed_sha256[i : i + 8]}</span>" for i in range(0, 64, 8)
    )
    assert f"<code>{groups}</code>" in html(page_of(FRESH))


def test_what_people_typed_is_shown_and_never_obeyed() -> None:
    nasty = "<b>\x1b[31m & | ` * _\u202e"
    given = record.fill(FRESH, "LX", serial=nasty, who=nasty)
    page_text = html(page_of(given))
    assert "<b>" not in page_text
    assert "&lt;b&gt;\\x1b[31m &amp; | ` * _\\u202e" in page_text
    shown = markdown(page_of(given))
    assert "\\<b\\>\\\\x1b\\[31m \\& \\| \\` \\* \\_\\\\u202e" in shown
    assert "\x1b" not in page_text + shown


def test_nothing_gets_into_the_style_sheet() -> None:
    forged = replace(SIGNED, computed_sha256='"}</style><script>')
    shown = html(page_of(forged), sheet(forged))
    assert 'content: "computed part ec"' in shown
    assert "<script" not in shown


def one(*blocks: Block) -> Document:
    return Document("t", (Section("P", blocks),), "s", (Items(("p",)),), footer=())


def test_codes_that_would_end_their_span() -> None:
    block = Table(caption="c", head=("a",), kinds=("code",), rows=(("x|y`z",), ("",)))
    shown = markdown(one(block))
    assert "\n| x\\|y\\`z |\n|  |\n" in shown
    assert "\n- p\n" in shown
    assert "<ul><li>p</li></ul>" in html(one(block))
    mixed = one(
        Paragraph("x"),
        Paragraph(strong("y")),
        Paragraph(("z ", StyledText("c", "code")), label="l"),
    )
    assert '<p>x</p>\n<p><strong>y</strong></p>\n<p><strong>L:</strong> z <code class="line">c' in (
        html(mixed)
    )
    assert "\nx\n\n**y**\n\n**L:** z `c`\n" in markdown(mixed)


def test_short_tables_stay_on_one_page() -> None:
    for rows, short in ((12, True), (13, False)):
        table = Table(caption="c", head=("a",), rows=(("x",),) * rows)
        assert ('<table class="short">' in html(one(table))) is short
    kinds = [part.kind for part in sections(page_of(FRESH))]
    assert [number for number, kind in enumerate(kinds, start=1) if kind == "long"] == [3, 4, 7]
    assert set(kinds) == {"short", "long"}


def test_a_change_of_everything() -> None:
    """Different ends, refused frames, findings: each has its place."""
    first = replace(BEFORE.first, sends=AFTER.first.sends)
    shorter = replace(
        BEFORE.second,
        receives=replace(BEFORE.second.receives, entries=BEFORE.second.receives.entries[:8]),
    )
    connection_table = replace(AFTER.first.connection_table, edition="", watchdog_ms=50)
    given = record.new(
        AFTER, Connection(first=replace(first, connection_table=connection_table), second=shorter)
    )
    shown = markdown(page_of(given))
    assert "Both ends edited alike: NO." in shown
    assert "SC1 -\\> LX: 2 octets sent, 1 expected" in shown
    assert "| NOT ALLOWED |" in shown
    assert "\nwatchdog_ms: 50 ms at SC1, 100 ms at LX\n" in shown
    assert "profile fscp-12-1, edition not stated at SC1, 2010 at LX. Computed" in shown
    assert LEFT in shown


def test_before_with_bindings() -> None:
    shown = markdown(page_of(record.new(AFTER, BEFORE)))
    assert (
        "| `1.2` | brake2_release (Lift.Brake2Release, Drive.Brake2Release) | reserved | \\- | "
        "\\- | changed |" in shown
    )


def test_nothing_changed() -> None:
    shown = markdown(page_of(signed_record_of(AFTER, AFTER)))
    assert "Nothing changed that would have to be tried." in shown
    assert LEFT in shown
    assert "Class of the change: nothing that both ends share changed." in shown
    assert "2 octets sent, 2 expected; every signal arrives unchanged." in shown


@pytest.mark.parametrize("terms", [{"id": 9}, {"edition": "9.9"}, {"watchdog_ms": 90}])
def test_a_direction_without_signals_arrives_in_no_case(terms: dict[str, Any]) -> None:
    """MUST: nothing is told to arrive where no row says so, be the frame refused or not judged."""

    def one_way(**changed: Any) -> Connection:
        first, second = AFTER.ends
        table = replace(first.connection_table, **changed)
        return Connection(
            first=replace(first, connection_table=table, receives=Map()),
            second=replace(second, connection_table=table, sends=Map()),
        )

    given = record.new(one_way(), one_way(**terms))
    shown = markdown(page_of(given))
    told = re.findall(r"LX -\\> SC1: .*", shown)
    assert told == ["LX -\\> SC1: 0 octets sent, 0 expected; no signal in this direction."] * 2


def test_entries_of_people() -> None:
    shown = markdown(page_of(SIGNED))
    assert "\n| SC1 | SC1-1001 | 4f2a 0011 | 4F2A0011 | yes | A. Berg | 2026-03-02 |\n" in shown
    assert "| passed | B. Chen, 2026-03-02 |" in shown
    assert (
        f"\n| C. Dahl | safety engineer | 2026-03-03 | `{SIGNED.history[-2].seal[:16]}` |  |"
        in shown
    )
    wrong = markdown(
        page_of(record.fill(SIGNED, "LX", who="A. Berg", when="2026-03-04", checksum="0"))
    )
    assert "| LX | LX-1001 | 0 | 4F2A0011 | NO |" in wrong
    remark = record.done(
        FRESH, "wrong-device", who="x", when="y", result="not applicable", remark="none there"
    )
    assert "| not applicable none there | x, y |" in markdown(page_of(remark))
    assert "| open | open |" in markdown(page_of(with_acts(FRESH)))


def test_what_was_entered_before_stays_on_the_page() -> None:
    given = record.fill(
        TESTED, "LX", who="D. Evans", when="2026-03-04", serial="", remark="wrong device"
    )
    given = record.done(
        given, "wrong-device", who="B. Chen", when="2026-03-01", result="failed", remark="it ran"
    )
    given = record.done(given, "wrong-device", who="D. Evans", when="2026-03-04", result="passed")
    given = record.request(given, who="A. Berg", when="2026-03-04", asked_by="", hazards=("x", "y"))
    shown = markdown(page_of(given))
    assert "| LX | open | 4f2a 0011 | 4F2A0011 | yes | D. Evans, A. Berg | 2026-03-04, 2026-" in (
        shown
    )
    assert "| passed (the latest of 3 results, see part 10) | D. Evans, 2026-03-04 |" in shown
    for entry in (
        "| 3 | read-back of LX: serial LX-1001, checksum 4f2a 0011, expected 4F2A0011 | A. Berg |",
        "| read-back of LX: serial taken back (wrong device) | D. Evans | 2026-03-04 |",
        "| wrong-device: failed (it ran) | B. Chen | 2026-03-01 |",
        "| wrong-device: passed | D. Evans | 2026-03-04 |",
        "| request: asked for by taken back, hazards x; y | A. Berg | 2026-03-04 |",
    ):
        assert entry in shown, entry


def test_withdrawn_and_carried_over() -> None:
    withdrawn = record.withdraw(SIGNED, "C. Dahl", who="D. Evans", when="2026-03-04", reason="slip")
    carried = record.CarriedOver(edition="safeframe-record/1", sha256="ab" * 32)
    untried = record.TrialAct(step="wrong-device", result="", who="", when="", remark="")
    shown = markdown(page_of(with_acts(SIGNED, carried, *acts_of(withdrawn), untried)))
    number = len(SIGNED.history) - 1
    assert f"| withdrawal of the approval in entry {number}: slip | D. Evans | 2026-" in shown
    assert "| approval as safety engineer | C. Dahl | 2026-03-03 |" in shown
    assert f"| carried over from safeframe-record/1, SHA-256 of what stood there {'ab' * 32}" in (
        shown
    )
    assert "| wrong-device: no result | \\- | \\- |" in shown
    assert "Note: the history begins with what was entered in a safeframe-record/1: " in shown


def test_a_map_inside_that_is_none_stops_no_page() -> None:
    for when in ("before", "after"):
        states = tuple(replace(state, map="x") for state in getattr(FRESH.computed, when))
        changed: dict[str, Any] = {when: states}
        forged = replace(FRESH, computed=replace(FRESH.computed, **changed))
        assert "# Record of a change: SC1-LX" in markdown(page_of(forged))


def _stating(given: Connection, number: int, **said: Any) -> Connection:
    """Return a connection of which one end states other things about it."""
    ends = list(given.ends)
    table = replace(ends[number].connection_table, **said)
    ends[number] = replace(ends[number], connection_table=table)
    return Connection(first=ends[0], second=ends[1])


def test_what_the_ends_say_differently() -> None:
    """A record MUST NOT take the word of one end for both."""
    before = _stating(BEFORE, 0, edition="")
    after = _stating(_stating(AFTER, 1, profile="plain"), 1, edition="2015")
    made = record.new(before, after)
    profile, edition = "fscp-12-1 at SC1, plain at LX", "2010 at SC1, 2015 at LX"
    assert (made.computed.profile, made.computed.edition) == (profile, edition)
    for shown in (markdown(page_of(made)), html(page_of(made))):
        old = "Connection SC1-LX, profile fscp-12-1, edition not stated at SC1, 2010 at LX. Comp"
        assert old in shown
        assert f"Connection SC1-LX, profile {profile}, edition {edition}. Comp" in shown
    assert not any("computed anew" in one for one in record.verify(made, after).faults)


def test_where_a_map_came_from() -> None:
    origin = Provenance(format="esi", file="lx.xml", sha256="ab" * 32, select=("device:0x7",))
    after = Connection(first=AFTER.first, second=replace(AFTER.second, imported=origin))
    shown = markdown(page_of(record.new(BEFORE, after)))
    assert "| LX | lx.xml (esi) | device:0x7 | `abababab" in shown


def test_words_about_seals_and_signatures() -> None:
    shown = markdown(page_of(SIGNED))
    assert "**Not cryptographically signed: no signature file.**" in shown
    assert "they do not show the last entries cut off" in shown
    assert "nothing in it was altered" not in shown
    files = (
        record.Signature(path="r.json.a.sig", words="not checked"),
        record.Signature(path="r.json.b.sig", by="b", key="K", entries=3, signers="S"),
    )
    given = document(SIGNED, record.assess(SIGNED), files)
    shown = markdown(given)
    assert "Signature file r.json.a.sig: not checked\n" in shown
    total = len(SIGNED.history)
    assert (
        "Signature file r.json.b.sig: accepted by ssh-keygen for b (K), over entries 1 to 3 of "
        f"{total}, not over those after; allowed signers: S\n" in shown
    )
    assert "Not cryptographically signed" not in shown
    shown = markdown(document(SIGNED, record.assess(SIGNED), files[:1]))
    assert "**Not cryptographically signed: none of the signature files was accepted.**" in shown


BAD = Assessment(faults=("first",), missing=("second", "third"))


def test_standing_as_text() -> None:
    def shown(given: Assessment, name: str = "X") -> str:
        return text.render(assessments.document(name, given))

    assert shown(BAD, "X\x1b").splitlines()[:4] == [
        "X\\x1b: not complete and signed: 1 fault, 2 points open",
        "  fault: first",
        "  open: second",
        "  open: third",
    ]
    good = Assessment(faults=(), missing=())
    assert shown(good).startswith("X: the record fits the maps, is complete and signed\nOff-")
    assert summary("r.json", good) == "r.json: complete and signed\n"
    assert summary("r.json", BAD) == ("r.json: not complete and signed: 1 fault, 2 points open\n")


def test_standing_as_json() -> None:
    validate("standing", json.loads(json_text("X", BAD)))
    assert json_text("X", BAD).startswith(
        '{\n  "format": "safeframe-standing/2",\n  "connection": "X",\n'
        '  "complete_and_signed": false,\n'
        '  "faults": [\n    "first"\n  ],\n  "open": [\n'
    )


def test_signatures_as_json() -> None:
    row = record.Signature(path="r.json.b.sig", by="b", key="K", entries=3, signers="S")
    document = json.loads(json_text("X", replace(BAD, signatures=(row,))))
    validate("standing", document)
    assert document["signatures"] == [
        {
            "file": "r.json.b.sig",
            "accepted": True,
            "by": "b",
            "key": "K",
            "entries": 3,
            "allowed_signers": "S",
            "why_not": "",
        }
    ]


class TestAnyRecordThatIsRead:
    """Whatever a record file holds, it MUST be refused with a problem or shown as a page."""

    @given(st.data())
    def test_mutated(self, data: st.DataObject) -> None:
        mutated = data_of(SIGNED)
        for _ in range(2):
            inner: Any = mutated
            while isinstance(inner, dict | list) and inner:
                keys = sorted(inner) if isinstance(inner, dict) else range(len(inner))
                key = data.draw(st.sampled_from(keys))
                if not isinstance(inner[key], dict | list) or data.draw(st.integers(0, 3)) == 0:
                    old = inner[key]
                    new = [old, old] if isinstance(old, list) and not old else type(old)()
                    inner[key] = data.draw(st.sampled_from((new, None, 1, "x\x1b\ud800", [old])))
                    break
                inner = inner[key]
        try:
            given_record = record.loads(json.dumps(mutated))
        except InputError:
            return
        shown = page_of(given_record)
        assert "\x1b" not in markdown(shown) + html(shown)
        assert html(shown).encode()
        assert markdown(shown).encode()
