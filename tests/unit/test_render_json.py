"""The JSON report: pinned text, and its schema."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema

import safeframe
from safeframe._bits import Place
from safeframe._errors import InputError, Problem
from safeframe._findings import Counterexample, Finding, NotJudged, Report, Spot, Waived
from safeframe._report import jsonout
from safeframe._source import Location

SCHEMA = json.loads(
    (Path(safeframe.__file__).parent / "schemas" / "report.schema.json").read_text("utf-8")
)
FINDING = Finding(
    rule="shifted-signals",
    severity="error",
    message="later\x1b[2J",
    remedy="remove it",
    spots=(
        Spot(
            end="SC1",
            where=Location(path="sc1.toml", line=9, key="sends[3]"),
            place=Place(1, 2),
            signal="brake",
        ),
        Spot(end="LX", where=Location(path="lx.toml")),
    ),
    connection="SC1-LX",
    producer="SC1",
    consumer="LX",
    cause="shift",
    details=("one",),
    counterexample=Counterexample(
        octets=b"\x00\x04", before=b"\x00\x00", rows=(("brake", "1", "0"),)
    ),
)


def test_a_report_says_everything_it_holds() -> None:
    plain = Finding(rule="hole", severity="note", message="m", remedy="r", spots=())
    simple = Counterexample(octets=b"\x01", rows=())
    waived = Waived(
        finding=Finding(
            rule="overlap",
            severity="error",
            message="m",
            remedy="r",
            spots=(),
            counterexample=simple,
        ),
        reason="bench",
        where=Location(path="lx.toml", line=3),
    )
    report = Report(
        findings=(FINDING, plain),
        waived=(waived,),
        connections=("SC1-LX",),
        facts=(("size", "2 octets"),),
        not_judged=(NotJudged(connection="SC1-LX", rule="illegal-size", reason="r", subject="s"),),
    )
    shown = jsonout.report(report)
    assert shown.isascii()
    assert "\x1b" not in shown
    document = json.loads(shown)
    jsonschema.validate(document, SCHEMA)
    assert document["format"] == "safeframe-report/2"
    assert document["worst"] == "error"
    assert document["counts"] == {"error": 1, "warning": 0, "note": 1}
    assert document["findings"][0]["message"] == "later\x1b[2J"
    assert document["findings"][0]["spots"] == [
        {
            "end": "SC1",
            "path": "sc1.toml",
            "line": 9,
            "key": "sends[3]",
            "place": "1.2",
            "signal": "brake",
        },
        {"end": "LX", "path": "lx.toml", "line": 0, "key": "", "place": None, "signal": ""},
    ]
    assert document["findings"][0]["witness"] == {
        "octets": "0004",
        "before": "0000",
        "rows": [{"signal": "brake", "producer": "1", "consumer": "0"}],
    }
    assert document["findings"][1]["witness"] is None
    assert document["allowed"][0]["reason"] == "bench"
    assert document["allowed"][0]["finding"]["witness"]["before"] is None
    assert document["facts"] == [{"label": "size", "text": "2 octets"}]
    assert document["problems"] == []
    assert document["not_judged"] == [
        {
            "connection": "SC1-LX",
            "route": "",
            "rule": "illegal-size",
            "reason": "r",
            "subject": "s",
        }
    ]


def test_unreadable_input_gives_problems_and_no_verdict() -> None:
    error = InputError(Problem(path="a.toml", line=3, key="end.name", message="m", remedy="r"))
    document = json.loads(jsonout.problems(error))
    jsonschema.validate(document, SCHEMA)
    assert document["connections"] == []
    assert document["problems"] == [
        {"path": "a.toml", "line": 3, "key": "end.name", "message": "m", "remedy": "r"}
    ]


def test_the_schema_is_a_schema_and_names_the_format() -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    assert SCHEMA["properties"]["format"]["const"] == jsonout.FORMAT
