"""The text report: what a person reads, and that no input can steer a terminal."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from safeframe._bits import Place
from safeframe._findings import Counterexample, Finding, NotJudged, Report, Spot, Waived
from safeframe._report import findings, html, markdown, text
from safeframe._report.document import Document, Fold, Items, Paragraph, Section, StyledText, Table
from safeframe._source import Location


def report(given: Report, *, look: text.Look = text.PLAIN, details: bool = False) -> str:
    return text.render(findings.document(given, everything=details), look, details=details)


SHIFT = Finding(
    rule="shifted-signals",
    severity="error",
    message="from 1.2 on every signal is 1 bit later at LX",
    remedy="remove the bit at 1.2 of LX",
    spots=(
        Spot(end="SC1", where=Location(path="sc1.toml", line=9), place=Place(1, 2), signal="brake"),
        Spot(end="LX", where=Location(path="lx.toml", line=10), place=Place(1, 3), signal="brake"),
    ),
    connection="SC1-LX",
    producer="SC1",
    consumer="LX",
    cause="shift",
    details=("brake at 1.2 is at 1.3", "level at 1.4 is at 1.5"),
    counterexample=Counterexample(octets=b"\x00\x04", rows=(("brake", "1 (released)", "0"),)),
)
WATCHDOG = Finding(
    rule="watchdog-too-short",
    severity="warning",
    message="10 ms",
    remedy="raise it",
    spots=(Spot(end="SC1", where=Location(path="sc1.toml")),),
    connection="SC1-LX",
)


def test_a_finding_shows_cause_places_witness_and_remedy() -> None:
    shown = report(Report(findings=(WATCHDOG, SHIFT), connections=("SC1-LX",)))
    assert shown == (
        "error: shifted-signals  [SC1 -> LX]\n"
        "  from 1.2 on every signal is 1 bit later at LX\n"
        "    sc1.toml:9   SC1  1.2  brake\n"
        "    lx.toml:10   LX   1.3  brake\n"
        "  for instance the safety data 00 04:\n"
        "    signal  SC1 sends     LX reads\n"
        "    brake   1 (released)  0\n"
        "  explains 2 symptoms (shown with --details)\n"
        "  remedy: remove the bit at 1.2 of LX\n"
        "\n"
        "warning: watchdog-too-short  [SC1-LX]\n"
        "  10 ms\n"
        "    sc1.toml  SC1\n"
        "  remedy: raise it\n"
        "\n"
        "SC1-LX: 1 error, 1 warning\n"
        "Off-line aid, not certified: replaces neither review nor validation; local codes\n"
        "and licensed practice come first.\n"
    ).replace("sc1.toml:9   SC1", "sc1.toml:9  SC1").replace("lx.toml:10   LX ", "lx.toml:10  LX ")


def test_details_replace_their_count() -> None:
    shown = report(Report(findings=(SHIFT,), connections=("SC1-LX",)), details=True)
    assert "  - brake at 1.2 is at 1.3\n  - level at 1.4 is at 1.5\n" in shown
    assert "--details" not in shown


def test_a_witness_of_two_frames_names_both() -> None:
    finding = Finding(
        rule="edge-differs",
        severity="error",
        message="m",
        remedy="r",
        spots=(),
        counterexample=Counterexample(
            octets=b"\x01", before=b"\x00", rows=(("ack", "acts", "waits"),)
        ),
        details=("one",),
    )
    shown = report(Report(findings=(finding,), connections=("C",)))
    assert "error: edge-differs\n" in shown
    assert "safety data 00, then 01:\n" in shown
    assert "explains 1 symptom (" in shown


def test_agreement_is_said_plainly_with_the_facts() -> None:
    found = Report(connections=("SC1-LX",), facts=(("SC1 -> LX", "2 octets"), ("x", "y")))
    assert report(found).splitlines()[:3] == [
        "SC1-LX: both ends agree bit for bit",
        "  SC1 -> LX  2 octets",
        "  x          y",
    ]


def test_agreement_of_several_connections() -> None:
    shown = report(Report(connections=("A", "B")))
    assert shown.startswith("A, B: both ends agree bit for bit\n")


def test_what_was_not_judged_follows_the_verdict() -> None:
    def lacks(connection: str, *subjects: str) -> tuple[NotJudged, ...]:
        return tuple(
            NotJudged(connection=connection, rule=what or "hole", reason=f"no {what}", subject=what)
            for what in subjects
        )

    one = Report(connections=("A",), not_judged=lacks("A", "edition", "", "watchdog"))
    assert report(one).splitlines()[:2] == [
        "A: both ends agree bit for bit",
        "  not judged: edition (no edition), watchdog (no watchdog)",
    ]
    three = Report(
        connections=("A", "B", "C"),
        not_judged=(*lacks("A", "edition"), *lacks("B", "watchdog"), *lacks("C", "edition")),
    )
    assert report(three).splitlines()[1:3] == [
        "  not judged of A, C: edition (no edition)",
        "  not judged of B: watchdog (no watchdog)",
    ]
    names = tuple(f"C{number}" for number in range(13))
    many = Report(connections=names, not_judged=sum((lacks(n, "edition") for n in names), ()))
    assert findings.not_judged(many) == ["not judged of 13 connections: edition (no edition)"]
    assert findings.not_judged(Report(connections=("A",), not_judged=lacks("A", ""))) == []


def test_many_connections_are_counted_and_their_facts_wait_for_details() -> None:
    names = tuple(f"C{number}" for number in range(13))
    found = Report(connections=names, facts=(("C1", "2 octets"),))
    assert report(found).startswith("13 connections: both ends agree bit for bit\nOff-line")
    assert "\n  C1  2 octets\n" in report(found, details=True)


def test_an_allowed_finding_is_shown_with_its_reason() -> None:
    waived = Waived(finding=WATCHDOG, reason="bench only", where=Location(path="sc1.toml", line=30))
    shown = report(Report(waived=(waived,), connections=("SC1-LX",)))
    assert shown.startswith(
        "allowed: watchdog-too-short  [sc1.toml:30]\n  10 ms\n  reason: bench only\n\n"
        "SC1-LX: no open finding, 1 allowed\n"
    )


def test_color_marks_severity_and_verdict_only() -> None:
    look = text.Look(color=True)
    shown = report(Report(findings=(SHIFT,), connections=("SC1-LX",)), look=look)
    assert shown.startswith("\x1b[1;31merror\x1b[0m: \x1b[1mshifted-signals\x1b[0m  [SC1 -> LX]\n")
    assert "\x1b[1;31mSC1-LX: 1 error\x1b[0m\n" in shown


def test_long_messages_are_wrapped_behind_their_indent() -> None:
    look = text.Look(width=40)
    lines = text.wrap("word " * 12, look, first="  remedy: ", rest="          ")
    assert lines == [
        "  remedy: word word word word word word",
        "          word word word word word word",
    ]
    assert text.wrap("", look, first="  remedy: ") == ["  remedy:"]


def test_a_long_word_is_broken_only_where_it_may_be() -> None:
    look = text.Look(width=40)
    path = "folder/" * 8
    assert text.wrap(f"see {path} for it", look) == ["see", path, "for it"]
    assert text.wrap(path, look) == [path]
    assert text.wrap(path, look, hard=True) == ["folder/" * 5, "folder/" * 3]
    assert text.wrap("x" * 60, look, hard=True) == ["x" * 40, "x" * 20]
    # A sign of two columns where the indent leaves only one: it is not followed by an empty line.
    assert text.wrap("名", look, first=" " * 40, hard=True) == [" " * 40 + "名"]


def test_colour_goes_on_in_the_next_line() -> None:
    look = text.Look(color=True, width=40)
    words = (StyledText("error", "error"), ": ", StyledText("long " * 9, "strong"))
    assert text.wrap(words, look) == [
        "\x1b[1;31merror\x1b[0m: \x1b[1mlong long long long long long\x1b[0m",
        "\x1b[1mlong long long\x1b[0m",
    ]


class TestWidth:
    """No line is wider than the window, nor is a word lost, as long as every word fits."""

    @given(st.lists(st.text("ab_é名", min_size=1, max_size=30), max_size=30), st.integers(40, 90))
    def test_paragraphs(self, words: list[str], width: int) -> None:
        lines = text.wrap(" ".join(words), text.Look(width=width), first="  ", rest="    ")
        assert all(text.columns(line) <= max(width, 64) for line in lines)
        assert " ".join(lines).split() == words

    @given(
        st.lists(st.tuples(*[st.text("ab c_名", max_size=60)] * 3), min_size=1, max_size=6),
        st.integers(20, 80),
    )
    def test_tables(self, rows: list[tuple[str, ...]], width: int) -> None:
        for row, lines in zip(rows, text.table(rows, width=width), strict=True):
            assert all(text.columns(line) <= width for line in lines)
            for cell in row:
                assert set(cell) <= set("".join(lines) + " ")


def test_a_narrow_table_breaks_its_widest_cells() -> None:
    rows = [("place", "what"), ("0.1", "the release of the second brake")]
    assert text.table(rows, indent="  ", width=26) == [
        ["  place  what"],
        ["  0.1    the release of", "         the second brake"],
    ]


def test_what_is_folded_is_shown_on_demand() -> None:
    fold = Fold("More", (Items(("a", "b")),), "two more")
    given_document = Document("T", (fold,), footer=())
    assert text.render(given_document) == "T\n  two more\n"
    assert text.render(given_document, details=True) == "T\n  - a\n  - b\n"
    always = Document("T", (Fold("More", (Paragraph("p"),)),), footer=())
    assert text.render(always) == "T\n  p\n"


def test_a_page_does_not_repeat_its_title() -> None:
    given_document = Document("T", (Paragraph("T"), Paragraph("p")), "v", footer=())
    assert text.render(given_document).startswith("T\np\n")
    assert markdown.render(given_document) == "## T\n\n**v**\n\np\n"
    assert "<p>T</p>" not in html.render(given_document)


def test_notes_stand_below_their_row() -> None:
    table = Table((("a", "b"),), ("one", "two"), looks=("error",), notes=("why",), note_head="n")
    shown = text.render(Document("T", (Section("S", (Paragraph("p"), table)),), footer=()))
    assert shown == "T\n\nS\n  p\n    one  two\n    a    b\n           why\n"


@pytest.mark.parametrize(
    ("raw", "shown"),
    [
        ("plain", "plain"),
        ("\x1b[2J", r"\x1b[2J"),
        ("a\nb\r\t", r"a\nb\r\t"),
        ("\u202eevil", r"\u202eevil"),
        ("zero\u200bwidth", r"zero\u200bwidth"),
        ("\x9b31m", r"\x9b31m"),
        ("\udc80", r"\udc80"),
        ("Bremse gelöst", "Bremse gelöst"),
    ],
)
def test_clean_escapes_what_a_terminal_would_obey(raw: str, shown: str) -> None:
    assert text.clean(raw) == shown


class TestNoEscape:
    """No character that a terminal obeys reaches the output, whatever the input holds."""

    @given(st.text())
    def test_clean_text_is_printable(self, raw: str) -> None:
        assert text.clean(raw).isprintable()

    @given(st.lists(st.text(max_size=12), min_size=7, max_size=7))
    def test_a_report_of_any_texts_is_printable(self, parts: list[str]) -> None:
        rule, message, remedy, end, path, signal, detail = parts
        finding = Finding(
            rule="some-rule",
            severity="note",
            message=message,
            remedy=remedy,
            spots=(Spot(end=end, where=Location(path=path, line=1), signal=signal),),
            connection=rule,
            producer=end,
            consumer=signal,
            details=(detail,),
            counterexample=Counterexample(octets=b"", rows=((signal, message, detail),)),
        )
        waived = Waived(finding=finding, reason=remedy, where=Location(path=path))
        whole = Report(
            findings=(finding,), waived=(waived,), connections=(end,), facts=((rule, path),)
        )
        for details in (False, True):
            shown = report(whole, details=details)
            assert all(line.isprintable() for line in shown.split("\n"))


@pytest.mark.parametrize(
    ("choice", "terminal", "environ", "expected"),
    [
        ("auto", True, {}, True),
        ("auto", False, {}, False),
        ("auto", True, {"NO_COLOR": "1"}, False),
        ("auto", True, {"NO_COLOR": ""}, True),
        ("auto", False, {"FORCE_COLOR": "1"}, True),
        ("auto", True, {"NO_COLOR": "1", "FORCE_COLOR": "1"}, False),
        ("always", False, {"NO_COLOR": "1"}, True),
        ("never", True, {"FORCE_COLOR": "1"}, False),
    ],
)
def test_when_to_color(
    choice: str, terminal: bool, environ: dict[str, str], expected: bool
) -> None:
    assert text.wants_color(choice, terminal=terminal, environ=environ) is expected


def test_tables_align_wide_and_combining_characters() -> None:
    rows = [("名前", "x"), ("e\u0301e", "y"), ("abcd", "")]
    assert text.table(rows) == [["名前  x"], ["e\u0301e    y"], ["abcd"]]
    assert text.table([]) == []
