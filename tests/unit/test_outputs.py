"""SARIF, JUnit, annotations and Markdown, each read back by something that is not ours."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any
from urllib.parse import unquote

import jsonschema
import junitparser
import pytest
from hypothesis import given
from hypothesis import strategies as st
from markdown_it import MarkdownIt

from safeframe import _checks as checks
from safeframe import _demo as demo
from safeframe._bits import Place
from safeframe._cli import main
from safeframe._errors import InputError, Problem
from safeframe._findings import Counterexample, Finding, NotJudged, Report, Spot, Waived
from safeframe._report import annotations as lines_of
from safeframe._report import findings, junit, markdown, paths, sarif
from safeframe._report.document import CAUTION
from safeframe._report.text import clean
from safeframe._source import NOWHERE, Location

DATA = Path(__file__).resolve().parent.parent / "data"
SARIF = jsonschema.Draft4Validator(
    json.loads((DATA / "sarif-2.1.0.schema.json").read_text("utf-8"))
)
NASTY = "50% of <a|b>, `x` ::error:: @all & [l](http://x.invalid) \x1b[2J\r\n::set x\ud800\u202e"


def spot(line: int, *, path: str = "maps/lx.toml", signal: str = "brake") -> Spot:
    return Spot(end="LX", where=Location(path=path, line=line), place=Place(1, 2), signal=signal)


FINDING = Finding(
    rule="shifted-signals",
    severity="error",
    message="later",
    remedy="remove it",
    spots=(spot(9), spot(0, path="maps/sc1 100%.toml"), Spot(end="", where=NOWHERE)),
    connection="SC1-LX",
    producer="SC1",
    consumer="LX",
    cause="shift",
    details=("one",),
    counterexample=Counterexample(
        octets=b"\x00\x04", before=b"\x00\x00", rows=(("brake", "1", "0"),)
    ),
)
MILD = replace(FINDING, rule="place-order", severity="warning", counterexample=None, details=())
BARE = Finding(
    rule="connection-id-reused", severity="note", message="twice", remedy="change one", spots=()
)
WAIVED = Waived(finding=MILD, reason="known | here", where=Location(path="lx.toml", line=3))
FULL = Report(
    findings=(FINDING, FINDING, MILD, BARE),
    waived=(WAIVED, WAIVED._replace(where=NOWHERE)),
    connections=("SC1-LX",),
    known=(replace(FINDING, rule="hole"),),
)
UNREAD = InputError(
    Problem(path="lx.toml", line=4, key="sends[0]", message="bad: 1, 2", remedy="mend"),
    Problem(path="<stdin>", message="50% read"),
)

NAMES = st.sampled_from(["", "brake", "größe", "a b", NASTY])
REPORTS = st.builds(
    Report,
    findings=st.lists(
        st.builds(
            Finding,
            rule=st.sampled_from([rule.name for rule in checks.RULES if rule.scope != "plant"]),
            severity=st.sampled_from(["error", "warning", "note"]),
            message=NAMES,
            remedy=NAMES,
            spots=st.lists(
                st.builds(
                    spot,
                    st.integers(0, 9),
                    path=st.sampled_from(["a.toml", "./b c.toml", "<stdin>", "/x/%.toml", "ä:b"]),
                    signal=NAMES,
                ),
                max_size=3,
            ).map(tuple),
            connection=st.just("A-B"),
            producer=NAMES,
            consumer=NAMES,
            details=st.lists(NAMES, max_size=2).map(tuple),
        ),
        max_size=4,
    ).map(tuple),
    connections=st.just(("A-B",)),
)


class TestSarif:
    """Every log MUST follow the schema of SARIF 2.1.0 and name no absolute path."""

    @given(REPORTS)
    def test_schema(self, report: Report) -> None:
        log = json.loads(sarif.report(report))
        SARIF.validate(log)
        assert len(log["runs"][0]["results"]) == len(report.findings)
        for uri in uris(log):
            assert not uri.startswith(("/", "./", "file:"))
            assert ":" not in uri


def uris(value: Any) -> Iterator[str]:
    if isinstance(value, dict):
        if "uri" in value:
            yield value["uri"]
        for inner in value.values():
            yield from uris(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from uris(inner)


def test_sarif_in_full() -> None:
    log = json.loads(sarif.report(FULL))
    SARIF.validate(log)
    (run,) = log["runs"]
    rules = run["tool"]["driver"]["rules"]
    assert [rule["id"] for rule in rules] == [rule.name for rule in checks.RULES]
    result, _, mild, bare, known, allowed, elsewhere = run["results"]
    assert rules[result["ruleIndex"]]["id"] == result["ruleId"] == "shifted-signals"
    assert result["message"] == {"text": "later. Remedy: remove it."}
    physical = result["locations"][0]["physicalLocation"]
    assert physical == {"artifactLocation": {"uri": "maps/lx.toml"}, "region": {"startLine": 9}}
    other, nowhere = result["relatedLocations"]
    assert other["physicalLocation"] == {"artifactLocation": {"uri": "maps/sc1%20100%25.toml"}}
    assert unquote("maps/sc1%20100%25.toml") == "maps/sc1 100%.toml"
    assert other["message"] == {"text": "LX 1.2 brake"}
    assert other["logicalLocations"] == [{"name": "brake", "fullyQualifiedName": "LX.brake"}]
    assert nowhere == {"id": 2, "message": {"text": ""}}
    assert (mild["level"], bare["level"], bare["locations"]) == ("warning", "note", [])
    states = [one["baselineState"] for one in run["results"]]
    assert states == ["new", "new", "new", "new", "unchanged", "unchanged", "unchanged"]
    (suppression,) = allowed["suppressions"]
    assert suppression["justification"] == "known | here"
    where = suppression["location"]["physicalLocation"]
    assert where["region"] == {"startLine": 3}
    assert "location" not in elsewhere["suppressions"][0]
    assert known["ruleId"] == "hole"


def test_sarif_states_no_baseline_without_one() -> None:
    log = json.loads(sarif.report(replace(FULL, known=())))
    assert not any("baselineState" in one for one in log["runs"][0]["results"])


def test_sarif_of_unreadable_input() -> None:
    log = json.loads(sarif.problems(UNREAD))
    SARIF.validate(log)
    (run,) = log["runs"]
    assert run["results"] == []
    (invocation,) = run["invocations"]
    assert invocation["executionSuccessful"] is False
    first, second = invocation["toolExecutionNotifications"]
    assert first["locations"][0]["physicalLocation"]["region"] == {"startLine": 4}
    assert (second["message"], second["locations"]) == ({"text": "<stdin>: 50% read"}, [])


def test_partial_fingerprints_do_not_depend_on_lines() -> None:
    moved = replace(FINDING, spots=tuple(s._replace(where=NOWHERE) for s in FINDING.spots))
    prints = [
        json.loads(sarif.report(Report(findings=(one,))))["runs"][0]["results"][0][
            "partialFingerprints"
        ]
        for one in (FINDING, moved, replace(FINDING, rule="hole"))
    ]
    assert prints[0] == prints[1] != prints[2]


def suites(text: str) -> list[junitparser.TestSuite]:
    xml = junitparser.JUnitXml.fromstring(text.encode())
    assert isinstance(xml, junitparser.JUnitXml)
    return list(xml)


class TestJUnit:
    """Every rule of every connection MUST be one case, and no case fails without a finding."""

    @given(REPORTS)
    def test_cases(self, report: Report) -> None:
        own, plant = suites(junit.report(report, fail_on="note"))
        assert len(own) + len(plant) == len(checks.RULES)
        broken = {finding.rule for finding in report.findings}
        failed = {case.name for case in own if any(map(is_failure, case.result))}
        assert failed == broken
        assert (own.tests, own.failures) == (len(own), len(broken))


def is_failure(result: object) -> bool:
    return isinstance(result, junitparser.Failure)


def test_junit_says_each_place_that_was_not_judged() -> None:
    """What was not judged MUST be said, also of several routes and beside what was found."""
    open_ = [
        NotJudged("", "hole", "no program", "codes", "A -> B"),
        NotJudged("", "hole", "no program", "codes", "C -> D"),
        NotJudged("", "hole", "no program", "codes", "A -> B"),
        NotJudged("SC1-LX", "shifted-signals", "no data"),
        NotJudged("SC1-LX", "watchdog-differs", "no end states it", "watchdog_ms"),
        NotJudged("SC1-LX", "watchdog-differs", "no such key", "exchange_ms"),
    ]
    plant = next(rule.name for rule in checks.RULES if rule.scope == "plant")
    told = [one._replace(rule=plant) if not one.connection else one for one in open_]
    report = replace(FULL, connections=("SC1-LX",), not_judged=tuple(told))
    own, whole = suites(junit.report(report, fail_on="error"))
    cases = {case.name: case for case in (*own, *whole)}
    (skip,) = cases["watchdog-differs"].result
    assert skip.message == "watchdog_ms (no end states it); exchange_ms (no such key)"
    (skip,) = cases[plant].result
    assert skip.message == "A -> B: codes (no program); C -> D: codes (no program)"
    out = cases["shifted-signals"].system_out
    assert out.endswith("not judged: no data")


def test_junit_in_full() -> None:
    lacking = [("SC1-LX", "hole"), ("A\x1b|B", "hole"), ("A\x1b|B", "overlap")]
    report = replace(
        FULL,
        connections=("SC1-LX", "A\x1b|B"),
        not_judged=tuple(
            NotJudged(connection=name, rule=rule, reason="no data") for name, rule in lacking
        ),
    )
    text = junit.report(report, fail_on="error")
    own, other, plant = suites(text)
    assert (own.name, other.name, plant.name) == ("SC1-LX", "A\\x1b|B", "all connections")
    cases = {case.name: case for case in own}
    (failure,) = cases["shifted-signals"].result
    assert (failure.type, failure.message) == ("error", "later (and 1 more)")
    assert failure.text is not None
    assert failure.text.startswith("error: later\n  maps/lx.toml:9  LX  1.2  brake\n")
    assert failure.text.count("remedy: remove it") == 2
    out = cases["place-order"].system_out
    assert out.startswith("warning: later")
    assert "\n\nallowed: known | here\nwarning: later" in out
    assert cases["place-order"].result == []
    assert cases["hole"].system_out.startswith("known from the baseline\nerror: later")
    assert [case.name for case in other if case.is_skipped] == ["hole", "overlap"]
    assert (other.skipped, other.failures, other.errors) == (2, 0, 0)
    assert [case.name for case in plant if case.system_out] == ["connection-id-reused"]


def test_junit_of_one_connection_skips_what_only_several_show() -> None:
    own, plant = suites(junit.report(Report(connections=("SC1-LX",))))
    assert own.failures == own.skipped == 0
    assert plant.skipped == len(plant) > 0


@pytest.mark.parametrize("names", [("A-B",), ("A-B", "A-C")])
def test_junit_skips_devices_and_records_without_a_plant_file(names: tuple[str, ...]) -> None:
    """No case MUST pass of a rule that had nothing to look at, nor be skipped if it had."""
    for plants in ((), ("plant.toml",)):
        *_, plant = suites(junit.report(Report(connections=names, plants=plants)))
        skipped = {case.name for case in plant if case.is_skipped}
        assert (skipped >= checks.DEVICE_RULES) is not bool(plants)
        assert ("address-reused" in skipped) is (len(names) == 1)
        if plants:
            assert not skipped & checks.DEVICE_RULES


def test_junit_of_unreadable_input() -> None:
    (suite,) = suites(junit.problems(UNREAD))
    (case,) = suite
    (error,) = case.result
    assert isinstance(error, junitparser.Error)
    assert (suite.errors, error.message) == (1, "2 problems in the input")
    assert error.text == "lx.toml:4: sends[0]: bad: 1, 2 (mend)\n<stdin>: 50% read"


COMMAND = re.compile(r"::(error|warning|notice) ([^:]*)::([^\r\n]*)")


def read_command(line: str) -> tuple[str, dict[str, str], str]:
    """Read a workflow command as its public description says."""
    match = COMMAND.fullmatch(line)
    assert match, line
    pairs = (part.split("=", 1) for part in match[2].split(","))
    return match[1], {key: unquote(value) for key, value in pairs}, unquote(match[3])


class TestWorkflowCommands:
    """No text of a map MUST start a command of its own, and every finding is one line."""

    @given(REPORTS)
    def test_lines(self, report: Report) -> None:
        lines = lines_of.workflow_commands(report).splitlines()
        assert len(lines) == len(report.findings) + 2
        for line in lines[:-2]:
            _, properties, message = read_command(line)
            assert set(properties) <= {"file", "line", "title"}
            assert "Remedy: " in message
        assert not any(line.startswith("::") for line in lines[-2:])


def test_workflow_commands_in_full() -> None:
    odd = replace(FINDING, spots=(spot(7, path="a,b:c%.toml"),), message="50% :: x")
    lines = lines_of.workflow_commands(replace(FULL, findings=(FINDING, odd, BARE)))
    first, second, third, verdict, _ = lines.splitlines()
    assert first == (
        "::error file=maps/lx.toml,line=9,title=safeframe%3A shifted-signals::later. See also "
        "maps/sc1 100%25.toml LX 1.2 brake; <memory>. Remedy: remove it."
    )
    assert "file=a%2Cb%3Ac%25.toml,line=7" in second
    assert read_command(second)[1]["file"] == "a,b:c%.toml"
    assert second.endswith("::50%25 :: x. Remedy: remove it.")
    assert third == ("::notice title=safeframe%3A connection-id-reused::twice. Remedy: change one.")
    assert verdict == "safeframe: SC1-LX: 3 findings to mend"
    alone = lines_of.workflow_commands(replace(FULL, findings=(BARE,))).splitlines()
    assert alone[-2] == "safeframe: SC1-LX: 1 finding to mend"


def test_workflow_commands_keep_the_limit() -> None:
    ten = lines_of.workflow_commands(Report(findings=(FINDING,) * 10)).splitlines()
    assert len(ten) == 12
    eleven = lines_of.workflow_commands(Report(findings=(FINDING,) * 11)).splitlines()
    assert len(eleven) == 12
    assert eleven[9] == (
        "::error title=safeframe::2 more; safeframe check without this format lists them"
    )
    long = lines_of.workflow_commands(Report(findings=(replace(MILD, message="x" * 99999),)))
    assert len(read_command(long.splitlines()[0])[2]) == 65535


def test_workflow_commands_of_unreadable_input() -> None:
    assert lines_of.workflow_problems(UNREAD) == (
        "::error file=lx.toml,line=4,title=safeframe%3A input cannot be read::"
        "lx.toml:4: sends[0]: bad: 1, 2 (mend)\n"
        "::error title=safeframe%3A input cannot be read::<stdin>: 50%25 read\n"
    )
    many = InputError(*(Problem(path=f"{n}", message="bad") for n in range(20)))
    assert lines_of.workflow_problems(many).splitlines()[9:] == [
        "::error title=safeframe::11 more; safeframe check without this format lists them"
    ]
    ten = InputError(*(Problem(path=f"{n}", message="bad") for n in range(10)))
    assert "more;" not in lines_of.workflow_problems(ten)


def test_workflow_commands_say_when_nothing_is_wrong() -> None:
    text = lines_of.workflow_commands(Report(connections=("A-B",)))
    assert text.startswith("safeframe: A-B: no open finding\n")


ISSUES = {
    "type": "array",
    "items": {
        "type": "object",
        "required": ["description", "check_name", "fingerprint", "severity", "location"],
        "properties": {
            "severity": {"enum": ["info", "minor", "major", "critical", "blocker"]},
            "location": {
                "properties": {
                    "path": {"type": "string", "pattern": r"^[^./]"},
                    "lines": {"properties": {"begin": {"type": "integer", "minimum": 1}}},
                },
                "required": ["path", "lines"],
            },
        },
    },
}


def test_code_quality() -> None:
    rows = json.loads(lines_of.code_quality(FULL))
    jsonschema.validate(rows, ISSUES)
    assert [row["severity"] for row in rows] == ["critical", "critical", "major", "info"]
    assert len({row["fingerprint"] for row in rows}) == 4
    assert rows[1]["fingerprint"] == f"{rows[0]['fingerprint']}-2"
    assert rows[0]["location"] == {"path": "maps/lx.toml", "lines": {"begin": 9}}
    unread = json.loads(lines_of.code_quality_problems(UNREAD))
    jsonschema.validate(unread, ISSUES)
    assert [row["check_name"] for row in unread] == ["input", "input"]


def plain(text: str) -> list[str]:
    """Return the texts of a page as a CommonMark reader with tables sees them."""
    reader = MarkdownIt("commonmark", {"html": True}).enable("table")
    found = []
    for token in reader.parse(text):
        assert token.type != "html_block"
        if token.type == "inline":
            kinds = {child.type for child in token.children or ()}
            assert kinds <= {
                "text",
                "text_special",
                "strong_open",
                "strong_close",
                "em_open",
                "em_close",
            }
            found.append("".join(child.content for child in token.children or ()))
    return found


class TestMarkdown:
    """A reader MUST see the text of a map as it is, with no markup in it."""

    @given(st.one_of(NAMES, st.text(st.characters(codec="ascii", categories=["P", "S", "N", "L"]))))
    def test_cells(self, text: str) -> None:
        shown = plain("\n".join(markdown.table([("head",), (text,)])))
        assert shown == ["head", clean(text).strip()]

    @given(st.text(st.characters(codec="ascii", categories=["P", "S", "N", "Zs"])))
    def test_paragraphs(self, text: str) -> None:
        assert plain(f"{markdown.escape(text)}\n") == [text.strip()] * bool(text.strip())


def as_markdown(given: Report) -> str:
    return markdown.render(findings.document(given, where=paths.shown))


def test_markdown_in_full() -> None:
    shown = plain(as_markdown(FULL))
    assert shown[1] == "SC1-LX: 2 errors, 1 warning, 1 note"
    assert "error: shifted-signals  [SC1 -> LX]" in shown
    assert "note: connection-id-reused" in shown
    assert "maps/lx.toml:9" in shown
    assert "for instance the safety data 00 00, then 00 04:" in shown
    assert "not counted, known from the baseline: 1" in shown
    assert shown[-4:-1] == ["allowed: place-order  [<memory>]", "later", "Reason: known | here"]


def test_markdown_of_a_clean_report_and_of_unreadable_input() -> None:
    clean = Report(connections=("A-B",), facts=(("A -> B", "1 signal paired"),))
    assert as_markdown(clean) == (
        "## Check of A-B\n\n**A-B: both ends agree bit for bit**\n\n"
        "| what | seen |\n| --- | --- |\n| A -\\> B | 1 signal paired |\n\n"
        f"_{CAUTION}_\n"
    )
    lacks = NotJudged(connection="A-B", rule="edition-differs", reason="r", subject="edition")
    assert "not judged: edition (r)" in plain(as_markdown(replace(clean, not_judged=(lacks,))))
    unread = markdown.render(findings.problems(UNREAD))
    assert plain(unread)[1:] == [str(problem) for problem in UNREAD.problems]


@pytest.fixture
def site(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "maps").mkdir()
    for name in ("sc1-lx.toml", "lx-sc1.toml"):
        text = (demo.after() if name[0] == "s" else demo.before())[name]
        (tmp_path / "maps" / name).write_text(text, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


FORMATS = ("sarif", "junit", "markdown", "workflow-commands", "code-quality-json", "json")


@pytest.mark.parametrize("chosen", FORMATS)
def test_paths_stay_as_typed_or_become_relative(
    chosen: str, site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["check", "--format", chosen, "maps"]) == 1
    typed = capsys.readouterr().out
    assert "maps/sc1-lx.toml" in typed
    if chosen != "json":
        assert main(["check", "--format", chosen, str(site / "maps")]) == 1
        assert capsys.readouterr().out == typed
    assert main(["check", "--format", chosen, "none.toml", "maps/lx-sc1.toml"]) == 2
    captured = capsys.readouterr()
    assert "none.toml" in captured.out
    assert captured.err.startswith("safeframe: none.toml: the file must be readable")


def test_junit_from_the_command_line_skips_what_has_no_data(
    site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    main(["check", "--format", "junit", "--fail-on", "error", "maps"])
    own, _ = suites(capsys.readouterr().out)
    skipped = [case.name for case in own if case.is_skipped]
    assert "watchdog-too-long" in skipped
    assert "illegal-size" not in skipped


@pytest.mark.parametrize("chosen", ["sarif", "workflow-commands", "code-quality-json"])
def test_what_was_not_judged_is_said_beside_formats_without_room(
    site: Path, capsys: pytest.CaptureFixture[str], chosen: str
) -> None:
    main(["check", "--format", chosen, "maps"])
    assert "safeframe: not judged: application_parameters at both ends" in capsys.readouterr().err


@pytest.mark.parametrize("chosen", ["workflow-commands", "code-quality-json"])
def test_what_does_not_count_is_said_beside_annotations(
    site: Path, capsys: pytest.CaptureFixture[str], chosen: str
) -> None:
    assert main(["check", "--write-baseline", "known.json", "maps"]) == 0
    capsys.readouterr()
    assert main(["check", "--baseline", "known.json", "--format", chosen, "maps"]) == 0
    captured = capsys.readouterr()
    assert "safeframe: not counted, known from the baseline: 2\n" in captured.err
    assert "no open finding" not in captured.out
    path = site / "maps" / "sc1-lx.toml"
    signal = '{ rule = "one-sided-signal", signal = "brake2_release", reason = "May" }'
    allowance = f"allow = [{signal}]\n"
    path.write_text(path.read_text(encoding="utf-8") + allowance, encoding="utf-8")
    assert main(["check", "--format", chosen, "maps"]) == 1
    line = "safeframe: allowed: one-sided-signal  [maps/sc1-lx.toml:31]: May\n"
    assert line in capsys.readouterr().err


def test_baseline_from_the_command_line(site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", "maps"]) == 1
    capsys.readouterr()
    assert main(["check", "--write-baseline", "known.json", "maps"]) == 0
    assert capsys.readouterr().err == (
        "safeframe: known.json written (baseline)\n"
        "safeframe: 2 findings known from now on: with --baseline and this file only others count\n"
    )
    assert main(["check", "--baseline", "known.json", "maps"]) == 0
    out = capsys.readouterr().out
    assert out.startswith("SC1-LX: no new finding\n")
    assert "not counted, known from the baseline: 2\n" in out
    (site / "maps" / "lx-sc1.toml").write_text(demo.after()["lx-sc1.toml"], encoding="utf-8")
    assert main(["check", "--baseline", "known.json", "maps"]) == 0
    assert capsys.readouterr().err == (
        "safeframe: 2 known findings of the baseline no longer found; "
        "shorten it with --write-baseline\n"
    )
    assert main(["check", "--baseline", "a", "--write-baseline", "b", "maps"]) == 2
    assert main(["check", "--baseline", "maps/lx-sc1.toml", "maps"]) == 2


class TestUnjudged:
    """A rule that lacked data MUST have no finding."""

    @pytest.mark.parametrize("profile", ["fscp-12-1", "nobodys"])
    def test_demo(self, profile: str) -> None:
        from safeframe import _mapfile as mapfile
        from safeframe._model import Connection

        texts = [demo.after()[name] for name in ("sc1-lx.toml", "lx-sc1.toml")]
        first, second = (
            mapfile.loads(
                text.replace('"fscp-12-1"', f'"{profile}"').replace("watchdog_ms = 100, ", "")
            )
            for text in texts
        )
        bare = [replace(end, address=None) for end in (first, second)]
        for ends in ((first, second), bare):
            connection = Connection(first=ends[0], second=ends[1])
            report = checks.check(connection)
            lacking = {entry.rule: entry.reason for entry in report.not_judged}
            found = {finding.rule for finding in report.findings}
            assert found & set(lacking) == set()
            assert lacking["watchdog-differs"] == "no end states watchdog_ms"
            assert ("illegal-size" in lacking) == (profile == "nobodys")
            assert lacking.get("address-range") == (
                "the profile is not known"
                if profile == "nobodys"
                else None
                if ends[1].address
                else "no end states an address"
            )
