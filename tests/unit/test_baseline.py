"""Baselines: known findings are told from new ones by what they are about, never by where."""

from __future__ import annotations

import json
from collections import Counter
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st

import safeframe
from safeframe import _baseline as baseline
from safeframe import _demo as demo
from safeframe._bits import Place
from safeframe._cli import main
from safeframe._errors import InputError
from safeframe._findings import Finding, Report, Spot, each_one
from safeframe._report import junit
from safeframe._source import Location
from tests.unit.test_check_growth import lines

SCHEMA = json.loads(
    (Path(safeframe.__file__).parent / "schemas" / "baseline.schema.json").read_text("utf-8")
)


def finding(rule: str, *signals: str, line: int = 1, bit: int = 0) -> Finding:
    return Finding(
        rule=rule,
        severity="error",
        message=f"at line {line}",
        remedy="mend it",
        spots=tuple(
            Spot(end="LX", where=Location(path="lx.toml", line=line), place=Place(0, bit), signal=s)
            for s in signals
        ),
        connection="SC1-LX",
        producer="SC1",
        consumer="LX",
    )


FINDINGS = st.lists(
    st.builds(
        finding,
        st.sampled_from(["hole", "overlap"]),
        st.sampled_from(["", "brake", "größe"]),
        line=st.integers(1, 99),
        bit=st.integers(0, 7),
    ),
    max_size=6,
).map(tuple)


class TestBaseline:
    """A report MUST be clean against its own baseline, whatever moves inside the files."""

    @given(FINDINGS, st.integers(0, 99))
    def test_own(self, findings: tuple[Finding, ...], down: int) -> None:
        known = baseline.loads(baseline.dumps(findings))
        moved = tuple(
            replace(
                one,
                spots=tuple(
                    spot._replace(where=replace(spot.where, line=spot.where.line + down))
                    for spot in one.spots
                ),
            )
            for one in findings
        )
        report, gone = baseline.apply(Report(findings=moved), known)
        assert (report.findings, report.known, gone) == ((), moved, 0)
        assert list(map(baseline.identity, moved)) == list(map(baseline.identity, findings))

    @given(FINDINGS)
    def test_schema(self, findings: tuple[Finding, ...]) -> None:
        jsonschema.validate(json.loads(baseline.dumps(findings)), SCHEMA)


def test_a_second_one_of_a_kind_is_new() -> None:
    known = baseline.loads(baseline.dumps([finding("hole", "")]))
    first, second = finding("hole", "", bit=1), finding("hole", "", bit=5)
    report, gone = baseline.apply(Report(findings=(first, second)), known)
    assert (report.findings, report.known, gone) == ((second,), (first,), 0)
    assert known.total() == 1


def test_what_is_mended_is_counted() -> None:
    known = baseline.loads(baseline.dumps([finding("hole", "a"), finding("hole", "b")]))
    report, gone = baseline.apply(Report(findings=(finding("hole", "c"),)), known)
    assert (len(report.findings), gone) == (1, 2)


def test_the_text_is_for_reading() -> None:
    assert baseline.dumps([finding("hole", "b", "a"), finding("hole", "a", "b")]) == (
        "{\n"
        '  "format": "safeframe-baseline/1",\n'
        '  "findings": [\n'
        "    {\n"
        '      "rule": "hole",\n'
        '      "connection": "SC1-LX",\n'
        '      "direction": "SC1 -> LX",\n'
        '      "about": [\n        "LX a",\n        "LX b"\n      ],\n'
        '      "count": 2\n'
        "    }\n"
        "  ]\n"
        "}\n"
    )


def end(name: str, other: str, number: int = 7, **given: Any) -> safeframe.End:
    table = safeframe.ConnectionTable(
        name=given.pop("connection", "C"),
        profile=given.pop("profile", "plain"),
        id=number,
        legal_octets=(1, 2, 4, 8),
        network=given.pop("network", ""),
    )
    return safeframe.End(name=name, peer=other, connection_table=table, **given)


def octet(bound: str, names: str = "abcdefgh") -> safeframe.Map:
    return safeframe.Map(
        entries=tuple(
            safeframe.Signal(
                name=name, at=Place(0, at), width=1, bind=f"x.{name}" if name in bound else ""
            )
            for at, name in enumerate(names)
        )
    )


def pair(left: safeframe.End, right: safeframe.End) -> safeframe.Connection:
    return safeframe.Connection(first=left, second=right)


def unbound(bound: str) -> list[safeframe.Connection]:
    both = octet(bound)
    return [
        pair(
            end("SC", "LX", sends=both),
            end("LX", "SC", receives=replace(both, entries=octet("abcdefgh").entries)),
        )
    ]


def sharing(count: int) -> list[safeframe.Connection]:
    return [
        pair(end("SC", "LX", connection=f"C{at}"), end("LX", "SC", connection=f"C{at}"))
        for at in range(count)
    ]


def parameters(**given: tuple[int, int]) -> list[safeframe.Connection]:
    mine, theirs = (tuple((name, both[at]) for name, both in given.items()) for at in (0, 1))
    return [pair(end("SC", "LX", parameters=mine), end("LX", "SC", parameters=theirs))]


def terms(*networks: str, exchange: tuple[int, int] = (1, 1)) -> list[safeframe.Connection]:
    ends = [
        end(name, other, network=network)
        for (name, other), network in zip((("SC", "LX"), ("LX", "SC")), networks, strict=True)
    ]
    return [
        pair(
            *(
                replace(one, connection_table=replace(one.connection_table, exchange_ms=time))
                for one, time in zip(ends, exchange, strict=True)
            )
        )
    ]


def invalid(*names: str) -> list[safeframe.Connection]:
    given: dict[str, Any] = {
        "profile": "fscp-12-1",
        "parameters": tuple((name, 1) for name in names),
    }
    return [pair(end("SC", "LX", **given), end("LX", "SC", **given))]


def displaced(names: str, there: str) -> list[safeframe.Connection]:
    return [
        pair(
            end("SC", "LX", sends=octet(names, names)),
            end("LX", "SC", receives=octet(there, there)),
        )
    ]


def related(*names: str) -> list[safeframe.Connection]:
    relations = tuple(
        safeframe.Relation(
            name=name, when=(("gone", (1,)),), requires=(("a", (1,)),), reason="made up"
        )
        for name in names
    )
    bits = octet("ab", "ab")
    return [pair(end("SC", "LX", sends=bits, relations=relations), end("LX", "SC", receives=bits))]


def named(name: str, meaning: str) -> list[safeframe.Connection]:
    """Return a bit that is called release at one end, and otherwise at the other."""

    def bit(called: str, text: str) -> safeframe.Map:
        one = safeframe.Signal(name=called, at=Place(0, 0), one_means=text, bind=called)
        return safeframe.Map(entries=(one, safeframe.Reserved(at=Place(0, 1), width=7)))

    sent, received = bit("release", "brake released"), bit(name, meaning)
    return [pair(end("SC", "LX", sends=sent), end("LX", "SC", receives=received))]


@pytest.mark.parametrize(
    ("known", "now", "rule"),
    [
        (named("loesen", "brake released"), named("loesen", "brake applied"), "renamed-signal"),
        (unbound("gh"), unbound(""), "unbound-signal"),
        (sharing(20), sharing(21), "connection-id-reused"),
        (sharing(4)[:2], sharing(4)[2:], "connection-id-reused"),
        (parameters(x=(1, 2), y=(1, 1)), parameters(x=(1, 1), y=(1, 2)), "parameter-differs"),
        (terms("n1", "n2"), terms("n1", "n1", exchange=(1, 2)), "parameter-differs"),
        (invalid("one"), invalid("two"), "parameter-invalid"),
        (related("first"), related("second"), "relation-unknown-signal"),
        (displaced("abcd", "zabcd"), displaced("abcde", "zabcde"), "shifted-signals"),
    ],
)
def test_what_is_not_shown_is_not_hidden(
    known: list[safeframe.Connection], now: list[safeframe.Connection], rule: str
) -> None:
    before = safeframe.check_all(known)
    counts = baseline.loads(baseline.dumps(before.findings))
    assert baseline.apply(before, counts)[0].findings == ()
    report, _ = baseline.apply(safeframe.check_all(now), counts)
    assert rule in [finding.rule for finding in report.findings]


def twin(number: int, network: str, *, faulty: bool, allowed: bool = False) -> safeframe.Connection:
    """Return a connection that is called as any other; faulty, its ends differ in a safe value."""
    where = Location(path=f"{network}{number}/a.toml")
    rule = safeframe.Allowance(rule="safe-value-differs", reason="known")
    bits = octet("a", "a")
    other = replace(bits, entries=(replace(bits.signals[0], safe=int(faulty)),))
    ends = [
        end(
            name,
            peer,
            number,
            network=network,
            where=where,
            allowances=(rule,) if allowed and name == "SC" else (),
            **{side: map_},
        )
        for name, peer, side, map_ in (
            ("SC", "LX", "sends", bits),
            ("LX", "SC", "receives", other),
        )
    ]
    return pair(*ends)


def twins(report: Report) -> list[str]:
    return [one.which for one in report.findings if one.rule == "safe-value-differs"]


class TestTwoOfOneName:
    """What is known or allowed of a connection MUST NOT cover another one of its name."""

    P, Q = "network n1, id 7", "network n2, id 8"

    def test_allowances(self) -> None:
        both = [twin(7, "n1", faulty=True, allowed=True), twin(8, "n2", faulty=True)]
        for order in (both, both[::-1]):
            report = safeframe.check_all(order)
            assert twins(report) == [self.Q]
            assert [one.finding.which for one in report.waived] == [self.P]

    def test_an_allowance_that_only_the_other_needs(self) -> None:
        both = [twin(7, "n1", faulty=False, allowed=True), twin(8, "n2", faulty=True)]
        report = safeframe.check_all(both)
        assert twins(report) == [self.Q]
        unused = [one for one in report.findings if one.rule == "unused-allowance"]
        assert [one.which for one in unused] == [self.P]

    def test_baseline(self) -> None:
        known = safeframe.check_all([twin(7, "n1", faulty=False), twin(8, "n2", faulty=True)])
        now = safeframe.check_all([twin(7, "n1", faulty=True), twin(8, "n2", faulty=False)])
        counts = baseline.loads(baseline.dumps(known.findings))
        assert twins(baseline.apply(known, counts)[0]) == []
        assert twins(baseline.apply(now, counts)[0]) == [self.P]
        old = baseline.loads(baseline.dumps(replace(one, which="") for one in known.findings))
        assert twins(baseline.apply(now, old)[0]) == [self.P]

    @pytest.mark.parametrize(
        ("connections", "labels"),
        [
            ([(7, "n1"), (8, "n1")], ("network n1, id 7", "network n1, id 8")),
            ([(7, "n1"), (7, "n2")], ("network n1, id 7", "network n2, id 7")),
            (
                [(7, "n1"), (7, "n1")],
                (
                    "network n1, id 7, LX and SC, n17/a.toml, #1",
                    "network n1, id 7, LX and SC, n17/a.toml, #2",
                ),
            ),
            ([(7, "n1")], ()),
        ],
    )
    def test_what_tells_them_apart(
        self, connections: list[tuple[int, str]], labels: tuple[str, ...]
    ) -> None:
        given = [twin(number, network, faulty=True) for number, network in connections]
        report = safeframe.check_all(given)
        assert report.which == labels
        assert twins(report) == list(labels or ("",))

    def test_a_pair_that_is_listed_twice(self) -> None:
        one, other = twin(7, "n1", faulty=True), twin(8, "n2", faulty=False)
        report = safeframe.check_all([one, other, one])
        assert report.which == (self.P, self.Q, self.P)

    def test_junit(self) -> None:
        report = safeframe.check_all([twin(7, "n1", faulty=False), twin(8, "n2", faulty=True)])
        suites = {
            suite.get("name"): [
                case.get("name") for case in suite if case.find("failure") is not None
            ]
            for suite in ElementTree.fromstring(junit.report(report))
        }
        assert {one.connection for one in report.not_judged} >= {f"C [{self.P}]", f"C [{self.Q}]"}
        assert list(suites) == [f"C [{self.P}]", f"C [{self.Q}]", "all connections"]
        assert "safe-value-differs" not in suites[f"C [{self.P}]"]
        assert "safe-value-differs" in suites[f"C [{self.Q}]"]

    def test_findings_over_many_connections(self) -> None:
        """An end of that name in another file allows nothing of what is about these."""
        rule = safeframe.Allowance(rule="connection-id-reused", reason="known")
        given = [
            pair(
                end("SC", "LX", number, connection=f"C{at}", network=f"n{number}", where=where),
                end(
                    "LX",
                    "SC",
                    number,
                    connection=f"C{at}",
                    network=f"n{number}",
                    where=where,
                    allowances=(rule,) if at == 0 else (),
                ),
            )
            for at, number in enumerate((7, 7, 8, 8))
            for where in (Location(path=f"{at}.toml"),)
        ]
        report = safeframe.check_all(given)
        found = [one.message for one in report.findings if one.rule == rule.rule]
        assert len(found) == len(report.waived) == 1
        assert "C2 (SC and LX)" in found[0]


ROW = {"rule": "hole", "connection": "c", "direction": "", "about": []}


def test_what_keeps_all_else_from_being_judged_is_never_known(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    maps = [str(tmp_path / name) for name in ("sc1-lx.toml", "lc1-sc1.toml")]
    for path in maps:
        Path(path).write_text(demo.after()[Path(path).name], encoding="utf-8")
    known = str(tmp_path / "known.json")
    assert main(["check", "--write-baseline", known, *maps]) == 0
    assert "0 findings known from now on" in capsys.readouterr().err
    row = {
        "rule": "wrong-file",
        "connection": "SC1-LC1",
        "direction": "",
        "about": ["LC1", "SC1"],
        "count": 1,
    }
    Path(known).write_text(json.dumps({"format": baseline.FORMAT, "findings": [row]}))
    assert main(["check", "--baseline", known, *maps]) == 1
    assert "wrong-file" in capsys.readouterr().out
    assert main(["check", "--format", "junit", *maps]) == 1
    suite = ElementTree.fromstring(capsys.readouterr().out)[0]
    cases = {case.get("name"): [child.tag for child in case] for case in suite}
    assert cases.pop("wrong-file") == ["failure"]
    assert cases.pop("unused-allowance") == []
    assert {tuple(tags) for tags in cases.values()} == {("skipped",)}


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            "{",
            ":1: the text must be valid JSON at column 2: Expecting property name enclosed in "
            "double quotes",
        ),
        ("[]", ": a baseline must be an object, not an array"),
        ('{"findings": []}', ': format must be stated as "safeframe-baseline/1"'),
        ('{"format": "x"}', ":1: format: format must be \"safeframe-baseline/1\", not 'x'"),
        ('{"format": "safeframe-baseline/1"}', ": findings: findings must be stated"),
        *(
            (
                json.dumps({"format": "safeframe-baseline/1", "findings": [ROW, row]}, indent=0),
                f":{line}: findings[1]{key} must be {message}",
            )
            for row, line, key, message in (
                (None, 10, ": an entry of findings", "an object, not null"),
                ({**ROW, "about": "x"}, 14, ".about: about", "an array, not 'x'"),
                ({**ROW, "about": [1]}, 15, ".about[0]: an entry of about", "a text, not 1"),
                ({**ROW, "rule": 1}, 11, ".rule: rule", "a text, not 1"),
                ({**ROW, "count": 0}, 15, ".count: count", "at least 1, not 0"),
                ({**ROW, "count": True}, 15, ".count: count", "an integer, not true"),
                ({**ROW, "count": "1"}, 15, ".count: count", "an integer, not '1'"),
            )
        ),
    ],
)
def test_what_is_no_baseline(text: str, message: str) -> None:
    with pytest.raises(InputError) as caught:
        baseline.loads(text, path="known.json")
    assert str(caught.value) == (
        f"known.json{message} (write it anew with safeframe check --write-baseline)"
    )


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"must be readable: No such file"):
        baseline.load(str(tmp_path / "none.json"))
    (tmp_path / "binary").write_bytes(b"\xff\xfe")
    with pytest.raises(InputError, match=r"must be UTF-8 text"):
        baseline.load(str(tmp_path / "binary"))


def unlike(count: int) -> safeframe.Connection:
    """Return a connection whose ends differ in the safe value of this many signals."""

    def rows(safe: int) -> safeframe.Map:
        return safeframe.Map(
            entries=tuple(
                safeframe.Signal(
                    name=f"s{at}", at=Place.at(at), width=1, bind=f"x.s{at}", safe=safe
                )
                for at in range(count)
            )
        )

    return pair(end("SC", "LX", sends=rows(1)), end("LX", "SC", receives=rows(0)))


def sites(count: int, first: int = 0) -> list[safeframe.Connection]:
    """Return pairs of connections, two of each id: one finding of one rule for each id."""
    return [
        pair(
            end(f"SC{at}", f"LX{at}", at // 2 + 1, connection=f"C{at}"),
            end(f"LX{at}", f"SC{at}", at // 2 + 1, connection=f"C{at}"),
        )
        for at in range(2 * first, 2 * count)
    ]


def only(rule: str, report: Report) -> Report:
    return replace(report, findings=tuple(one for one in report.findings if one.rule == rule))


class TestBehindTheCut:
    """What is not listed MUST never hide behind a baseline, and what it knows MUST stay known."""

    def unlike(self, count: int) -> Report:
        return only("safe-value-differs", safeframe.check(unlike(count)))

    def sites(self, count: int, first: int = 0) -> Report:
        return only("connection-id-reused", safeframe.check_all(sites(count, first)))

    def test_what_was_not_looked_for_is_never_known(self) -> None:
        known = baseline.loads(baseline.dumps(self.unlike(600).findings))
        assert known.total() == 100
        again, gone = baseline.apply(self.unlike(601), known)
        (cut,) = again.findings
        assert (cut.unlisted, len(again.known), gone) == (None, 100, 0)
        assert cut.message == "more than 100 findings of this rule; the rest is not listed"
        assert cut.remedy.endswith("; no baseline and no allowance knows the rest of more than 500")

    def test_what_is_not_listed_of_one_connection_is_known_one_by_one(self) -> None:
        report = self.unlike(500)
        assert len(report.findings) == 101
        known = baseline.loads(baseline.dumps(report.findings))
        assert known.total() == 500
        again, gone = baseline.apply(report, known)
        assert (again.findings, len(again.known), gone) == ((), 500, 0)
        fewer, gone = baseline.apply(self.unlike(140), known)
        assert (fewer.findings, gone) == ((), 360)

    def test_an_older_file_that_knows_the_cut_knows_nothing_behind_it(self) -> None:
        report = self.unlike(600)
        old = Counter(baseline.key_of(one) for one in report.findings)
        again, gone = baseline.apply(report, old)
        assert (len(again.findings), gone) == (1, 1)

    def test_what_only_many_connections_show_is_known_one_by_one(self) -> None:
        report = self.sites(130)
        assert len(report.findings) == 101
        assert len(report.findings[-1].unlisted or ()) == 30
        known = baseline.loads(baseline.dumps(report.findings))
        assert known.total() == 130
        again, gone = baseline.apply(report, known)
        assert (again.findings, len(again.known), gone) == ((), 130, 0)
        more, gone = baseline.apply(self.sites(133), known)
        assert (len(more.findings), len(more.known), gone) == (3, 130, 0)
        assert more.findings[-1].message.startswith("the connection id 133 ")
        fewer, gone = baseline.apply(self.sites(133, 2), known)
        assert (len(fewer.findings), len(fewer.known), gone) == (3, 128, 2)

    def test_what_is_new_behind_the_cut_is_cut_as_well(self) -> None:
        known = baseline.loads(baseline.dumps(self.sites(130).findings[:10]))
        rest, gone = baseline.apply(self.sites(230), known)
        assert (len(rest.findings), len(rest.known), gone) == (91, 10, 0)
        assert len(rest.findings[-1].unlisted or ()) == 130

    def test_what_is_allowed_behind_the_cut_is_set_aside(self) -> None:
        allowance = safeframe.Allowance(rule="connection-id-reused", reason="known")

        def allowing(first: int) -> Report:
            made = [
                replace(one, first=replace(one.first, allowances=(allowance,)))
                if at >= 2 * first
                else one
                for at, one in enumerate(sites(103))
            ]
            return safeframe.check_all(made)

        for first, left in ((102, 2), (101, 1)):
            report = allowing(first)
            cut = only("connection-id-reused", report).findings[-1]
            assert (len(cut.unlisted or ()), len(report.waived)) == (left, 103 - first)
            assert not only("unused-allowance", report).findings
        assert len(only("connection-id-reused", allowing(100)).findings) == 100
        assert len(allowing(100).waived) == 3

    def test_the_work_grows_with_the_findings(self) -> None:
        few, many = (lines(partial(safeframe.check_all, sites(n)), 10**7) for n in (200, 800))
        assert many < 5 * few

    def test_findings_behind_the_cut_go_by_the_name_of_their_connection(self) -> None:
        cut = replace(finding("hole"), which="#2", unlisted=(finding("hole", "a"),))
        (one,) = each_one([cut])
        assert one == replace(finding("hole", "a"), which="#2")

    def test_the_command_says_what_it_does_not_know(
        self, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        maps = [tmp_path / "one.toml", tmp_path / "two.toml"]
        for path, one in zip(maps, unlike(501).ends, strict=True):
            path.write_text(safeframe.dumps(one), encoding="utf-8")
        capsys.readouterr()
        known, paths = str(tmp_path / "known.json"), list(map(str, maps))
        assert main(["check", "--write-baseline", known, *paths]) == 0
        assert capsys.readouterr().err.splitlines()[1:] == [
            "safeframe: 101 findings known from now on: with --baseline and this file only others "
            "count",
            "safeframe: C: more than 100 findings of this rule; the rest is not listed, and not "
            "known: safe-value-differs still counts",
        ]
        assert main(["check", "--baseline", known, *paths]) == 1
        assert "not counted, known from the baseline: 101" in capsys.readouterr().out
