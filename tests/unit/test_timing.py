"""Watchdog and reaction time: formulas by profile and edition, inputs, the command."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from safeframe import _checks as checks
from safeframe import _demo as demo
from safeframe import _mapfile as mapfile
from safeframe import protocols as profiles
from safeframe._cli import main
from safeframe._model import Connection, ConnectionTable, Map
from safeframe._report import text
from safeframe._report.timing import document, json_text
from safeframe._timing import Input, Timing, timing
from safeframe.protocols import Profile, ReactionShare
from tests.unit.schemas import validate


def connection(first: dict[str, object], second: dict[str, object] | None = None) -> Connection:
    site = demo.after()
    ends = [mapfile.loads(site[name]) for name in ("sc1-lx.toml", "lx-sc1.toml")]
    stated = (first, first if second is None else second)
    one, two = (
        replace(
            end,
            connection_table=ConnectionTable(
                **{"name": "X", "profile": "plain", **connection_table}  # type: ignore[arg-type]
            ),
        )
        for end, connection_table in zip(ends, stated, strict=True)
    )
    return Connection(first=one, second=two)


def opcua() -> Profile:
    return profiles.load("opcua-safety")


def test_common_practice() -> None:
    times = timing(connection({"watchdog_ms": 100, "exchange_ms": 12}))
    assert times.reaction.known_ms == 112
    assert times.reaction.formula == "watchdog (100 ms) + exchange (12 ms)"
    assert times.reaction.source == "common practice"
    assert (times.spare_ms, times.margin_ms, times.reaction.missing) == (88, None, ())


def test_a_profile_that_nobody_knows_bounds_nothing() -> None:
    """Its own file may state another formula, so that the usual one is no upper bound."""
    stated = {"profile": "hall3", "watchdog_ms": 100, "exchange_ms": 12}
    times = timing(connection({**stated, "permitted_reaction_ms": 112}))
    assert times.reaction.missing == ("share by the formula of hall3",)
    assert (times.is_open, times.margin_ms) == (True, None)
    assert "reaction time at least  112 ms" in text.render(document(times))
    times = timing(connection({**stated, "permitted_reaction_ms": 111}))
    assert (times.is_open, times.margin_ms) == (False, -1)
    own = replace(profiles.load("plain"), name="hall3")
    times = timing(connection({**stated, "permitted_reaction_ms": 112}), own)
    assert (times.reaction.missing, times.margin_ms) == ((), 0)


@pytest.mark.parametrize(
    ("edition", "sum_ms", "formula"),
    [
        ("", 220, "2 x watchdog (100 ms) + cycle time of the consumer (20 ms)"),
        ("1.05", 220, "2 x watchdog (100 ms) + cycle time of the consumer (20 ms)"),
        ("1.04", 120, "watchdog (100 ms) + cycle time of the consumer (20 ms)"),
    ],
)
def test_opcua_by_release(edition: str, sum_ms: int, formula: str) -> None:
    given = connection({"profile": "opcua-safety", "edition": edition, "watchdog_ms": 100})
    times = timing(given, opcua(), cycle_ms=20)
    assert (times.reaction.known_ms, times.reaction.formula) == (sum_ms, formula)
    assert times.edition == edition or times.edition == "1.05"
    assert times.reaction.source == (
        f"OPC 10000-15, release {times.edition}: share of the safety function response time"
    )


@pytest.mark.parametrize("edition", ["2.0", "1.05.04", "1.0"])
def test_an_edition_without_a_source_has_no_upper_bound(edition: str) -> None:
    terms = {"watchdog_ms": 100, "exchange_ms": 10, "permitted_reaction_ms": 150}
    given = connection({"profile": "opcua-safety", "edition": edition, **terms})
    for profile in (opcua(), None):
        times = timing(given, profile, cycle_ms=1)
        assert times.reaction.missing == (f"share by the formula of edition {edition}",)
        assert times.reaction.source == "no source at hand"
        assert (times.reaction.known_ms, times.margin_ms, times.is_open) == (0, None, True)
        assert "reaction time at least" in text.render(document(times))
    (open_,) = (each for each in checks.check(given).not_judged if each.rule == "watchdog-too-long")
    assert open_.subject == "reaction time"


def test_without_an_edition_the_profile_is_found_by_name() -> None:
    given = connection({"profile": "opcua-safety", "watchdog_ms": 100})
    assert timing(given, cycle_ms=1) == timing(given, opcua(), cycle_ms=1)


@pytest.mark.parametrize(
    ("first", "second", "known_ms", "missing"),
    [
        ("1.04", "1.05", 200, ("cycle time of the consumer",)),
        ("1.04", "", 200, ("cycle time of the consumer",)),
        (
            "1.04",
            "2.0",
            100,
            ("cycle time of the consumer", "share by the formula of edition 2.0"),
        ),
    ],
)
def test_two_editions(first: str, second: str, known_ms: int, missing: tuple[str, ...]) -> None:
    """The order of the ends MUST change nothing; the larger formula counts."""
    one, two = (
        {"profile": "opcua-safety", "edition": edition, "watchdog_ms": 100}
        for edition in (first, second)
    )
    times = timing(connection(one, two), opcua())
    assert times == timing(connection(two, one), opcua())
    assert (times.reaction.known_ms, times.reaction.missing) == (known_ms, missing)
    assert times.edition == f"1.04 and {second or '1.05'}"


def test_two_profiles() -> None:
    one = {"profile": "opcua-safety", "watchdog_ms": 100, "exchange_ms": 10}
    two = {**one, "profile": "plain"}
    times = timing(connection(one, two))
    assert times == timing(connection(two, one))
    assert (times.profile, times.reaction.known_ms) == ("opcua-safety and plain", 200)


def test_without_the_cycle_time_the_sum_is_a_lower_bound() -> None:
    given = connection(
        {"profile": "opcua-safety", "watchdog_ms": 100, "permitted_reaction_ms": 150}
    )
    times = timing(given, opcua())
    assert timing(given, opcua(), cycle_ms=0) == times  # In 0 ms no program runs.
    assert times.reaction.missing == ("cycle time of the consumer",)
    assert (times.reaction.known_ms, times.margin_ms) == (200, -50)
    (found,) = (f for f in checks.check(given).findings if f.rule == "watchdog-too-long")
    assert found.message == (
        "the reaction time is at least 200 ms = 2 x watchdog (100 ms) + cycle time of the consumer "
        "(not stated), 50 ms more than the permitted 150 ms (OPC 10000-15, release 1.05: share of "
        "the safety function response time)"
    )


def test_the_worse_statement_counts() -> None:
    times = timing(
        connection(
            {"watchdog_ms": 100, "exchange_ms": 12, "permitted_reaction_ms": 300},
            {"watchdog_ms": 200, "permitted_reaction_ms": 250},
        )
    )
    assert (times.watchdog_ms, times.exchange_ms, times.permitted_ms) == (200, 12, 250)
    assert times.margin_ms == 38


def test_one_end_alone_may_state_the_permitted_time() -> None:
    given = connection({"watchdog_ms": 100}, {"watchdog_ms": 100, "permitted_reaction_ms": 90})
    assert "watchdog-too-long" in {finding.rule for finding in checks.check(given).findings}
    given = connection({"watchdog_ms": 100}, {"watchdog_ms": 100, "permitted_reaction_ms": 100})
    assert "watchdog-too-long" not in {finding.rule for finding in checks.check(given).findings}


def test_the_shorter_watchdog_says_how_late_a_frame_may_be() -> None:
    """The end that waits less stops first, whatever the other one waits."""
    terms: dict[str, object] = {"exchange_ms": 12, "watchdog_ms": 100}
    for pair in ((terms, {**terms, "watchdog_ms": 200}), ({**terms, "watchdog_ms": 200}, terms)):
        times = timing(connection(*pair))
        assert (times.watchdog_ms, times.shortest_ms, times.spare_ms) == (200, 100, 88)
        shown = text.render(document(times))
        assert "  a frame may be late by  88 ms       shorter watchdog - exchange\n" in shown


@pytest.mark.parametrize("name", ["SC1", "LX"])
def test_a_watchdog_of_one_end_says_nothing_of_the_other(name: str) -> None:
    """MUST: no upper bound and no margin while an end waits for a time that nobody states."""
    other = "LX" if name == "SC1" else "SC1"
    bare: dict[str, object] = {"exchange_ms": 12, "permitted_reaction_ms": 200}
    known = {**bare, "watchdog_ms": 100}
    given = connection(*((known, bare) if name == "SC1" else (bare, known)))
    times = timing(given)
    assert times.watchdog_of == name
    assert times.reaction.missing == (f"watchdog of {other}",)
    assert times.reaction.formula == (
        f"watchdog of {name} (100 ms) + exchange (12 ms) + watchdog of {other} (not stated)"
    )
    assert (times.reaction.known_ms, times.spare_ms, times.margin_ms) == (112, None, None)
    shown = text.render(document(times))
    assert f"  watchdog                100 ms      {name} alone states one\n" in shown
    assert "  margin                  not known " in shown
    assert "  a frame may be late by  not stated " in shown
    assert json.loads(json_text(times))["watchdog_of"] == name
    (open_,) = (each for each in checks.check(given).not_judged if each.rule == "watchdog-too-long")
    assert open_.subject == "reaction time"
    # Where it decides nothing, what is known is too long already.
    known["permitted_reaction_ms"] = 111
    assert timing(connection(*((known, bare) if name == "SC1" else (bare, known)))).margin_ms == -1


def test_an_end_that_reads_no_data_needs_no_watchdog() -> None:
    bare: dict[str, object] = {"exchange_ms": 12}
    known = {**bare, "watchdog_ms": 100}
    for terms, of, missing, spare in (
        ((bare, known), "LX", (), 88),
        ((known, bare), "SC1", ("watchdog of LX",), None),
    ):
        given = connection(*terms)
        one_way = Connection(
            first=replace(given.first, receives=Map()), second=replace(given.second, sends=Map())
        )
        times = timing(one_way)
        assert (times.watchdog_of, times.reaction.missing, times.spare_ms) == (of, missing, spare)
        assert times.reaction.known_ms == (12 if missing else 112)


def test_a_share_by_a_source_names_the_end_that_waits() -> None:
    given = connection({"profile": "opcua-safety", "watchdog_ms": 100}, {"profile": "opcua-safety"})
    assert timing(given, opcua(), cycle_ms=20).reaction.formula == (
        "2 x watchdog of SC1 (100 ms) + cycle time of the consumer (20 ms) + "
        "2 x watchdog of LX (not stated)"
    )


@pytest.mark.parametrize(
    ("watchdogs", "cycles", "known_ms", "formula"),
    [
        (2, 0, 200, "2 x watchdog (100 ms)"),
        (0, 2, 10, "2 x cycle time of the consumer (5 ms)"),
    ],
)
def test_what_a_share_does_not_count_is_not_missing(
    watchdogs: int, cycles: int, known_ms: int, formula: str
) -> None:
    share = ReactionShare(
        edition="1", watchdogs=watchdogs, consumer_cycles=cycles, why="w", stated_in="s"
    )
    own = replace(profiles.load("plain"), name="house", editions=("1",), reactions=(share,))
    stated = {"profile": "house", "edition": "1", "watchdog_ms": 100 if watchdogs else None}
    given = connection({**stated, "permitted_reaction_ms": known_ms})
    times = timing(given, own, cycle_ms=5 if cycles else None)
    assert (times.reaction.formula, times.reaction.missing) == (formula, ())
    assert (times.reaction.known_ms, times.margin_ms) == (known_ms, 0)


def test_a_share_of_nothing_bounds_nothing() -> None:
    share = ReactionShare(edition="1", watchdogs=0, consumer_cycles=0, why="w", stated_in="s")
    own = replace(profiles.load("plain"), name="house", editions=("1",), reactions=(share,))
    stated = {"profile": "house", "edition": "1", "watchdog_ms": 100, "permitted_reaction_ms": 9}
    times = timing(connection({**stated}), own)
    assert times.reaction.missing == ("share by the formula of edition 1",)
    assert (times.is_open, times.margin_ms) == (True, None)
    bare = timing(connection({**stated, "edition": ""}), replace(own, editions=()))
    assert bare.reaction.missing == ("share by the formula of an edition, of which none is stated",)


@pytest.mark.parametrize("profile", ["plain", "fscp-12-1", "opcua-safety"])
@pytest.mark.parametrize(("first", "second"), [(0, 0), (0, 100), (100, 0), (0, None)])
def test_a_watchdog_of_0_bounds_nothing(profile: str, first: int, second: int | None) -> None:
    """It trips at once, or never: nobody can tell that the permitted time is kept."""
    stated = {"profile": profile, "exchange_ms": 10, "permitted_reaction_ms": 500}
    one, two = ({**stated, "watchdog_ms": time} for time in (first, second))
    times = timing(connection(one, two), profiles.load(profile), cycle_ms=1)
    assert "watchdog above 0 ms" in times.reaction.missing
    assert (times.is_open, times.margin_ms, times.spare_ms) == (True, None, None)


def test_an_exchange_of_0_bounds_nothing() -> None:
    """No frame comes within 0 ms: nobody can tell that the permitted time is kept."""
    stated: dict[str, object] = {"watchdog_ms": 100, "exchange_ms": 0}
    stated["permitted_reaction_ms"] = 500
    times = timing(connection(stated))
    assert times.reaction.missing == ("exchange above 0 ms",)
    assert (times.is_open, times.margin_ms, times.spare_ms) == (True, None, None)


def test_a_watchdog_of_0_where_nothing_is_read_matters_to_nobody() -> None:
    stated = {"exchange_ms": 12, "permitted_reaction_ms": 500}
    given = connection({**stated, "watchdog_ms": 0}, {**stated, "watchdog_ms": 100})
    one_way = Connection(
        first=replace(given.first, receives=Map()), second=replace(given.second, sends=Map())
    )
    assert (timing(given).is_open, timing(one_way).margin_ms) == (True, 388)


@pytest.mark.parametrize("edition", ["1.04", "1.05"])
def test_a_cycle_of_0_bounds_nothing(edition: str) -> None:
    """A consumer that runs at all has a cycle: one that is rounded to 0 is no upper bound."""
    stated = {"profile": "opcua-safety", "edition": edition, "watchdog_ms": 100}
    given = connection({**stated, "permitted_reaction_ms": 500})
    times = timing(given, opcua(), cycle_ms=0)
    assert times.reaction.missing == ("cycle time of the consumer",)
    assert (times.is_open, times.margin_ms) == (True, None)
    assert not timing(given, opcua(), cycle_ms=1).is_open


def test_a_refresh_time_of_0_bounds_nothing() -> None:
    given = connection({"profile": "en50325-5", "permitted_reaction_ms": 500})
    name = "refresh time (SCT) of LX"
    for sct_ms, missing in ((0, (f"{name} above 0 ms",)), (1, ())):
        parameters = (("sct_ms", sct_ms), ("srvt_ms", 20))
        ends = (replace(end, parameters=parameters) for end in given.ends)
        times = timing(Connection(first=next(ends), second=next(ends)))
        assert [one for one in times.reaction.missing if one.startswith(name)] == list(missing)


def test_a_validation_time_of_0_bounds_nothing() -> None:
    given = connection({"profile": "en50325-5", "permitted_reaction_ms": 500})
    for srvt_ms, missing in ((0, ("validation time (SRVT) above 0 ms",)), (1, ())):
        ends = (
            replace(end, parameters=(("sct_ms", 50), ("srvt_ms", srvt_ms))) for end in given.ends
        )
        times = timing(Connection(first=next(ends), second=next(ends)))
        assert (times.reaction.missing, times.is_open) == (missing, bool(missing))


def test_two_refresh_times() -> None:
    """The order of the ends MUST change nothing; the longer exchange counts."""
    given = connection({"profile": "en50325-5"})
    first, second = (
        replace(end, parameters=(("sct_ms", time), ("srvt_ms", 20)))
        for end, time in zip(given.ends, (50, 20), strict=True)
    )
    times = timing(Connection(first=first, second=second))
    assert times == timing(Connection(first=second, second=first))
    assert times.exchange_ms == 50


def test_nothing_stated() -> None:
    times = timing(connection({}))
    assert times.reaction.missing == ("watchdog", "exchange")
    assert (times.reaction.known_ms, times.spare_ms, times.margin_ms) == (0, None, None)
    assert str(Input(name="x", time_ms=None, factor=2)) == "2 x x (not stated)"


SHOWN = """\
X (plain, edition 1)
  what                    time        formula
  watchdog                100 ms
  exchange                not stated
  a frame may be late by  not stated  watchdog - exchange
  reaction time at least  100 ms      watchdog (100 ms) + exchange (not stated)
  permitted               90 ms
  margin                  -10 ms      permitted - reaction time
  source: common practice; an event just after its frame left waits for the next
          one; if that is lost, the watchdog ends
  not stated: exchange
"""


def test_rendered() -> None:
    times = timing(connection({"watchdog_ms": 100, "permitted_reaction_ms": 90, "edition": "1"}))
    shown = text.render(document(times))
    assert shown.startswith(SHOWN)
    assert shown.count("\n") == SHOWN.count("\n") + 2


def test_json() -> None:
    times: Timing = timing(connection({"watchdog_ms": 100, "exchange_ms": 12}))
    document = json.loads(json_text(times))
    validate("timing", document)
    validate("timing", json.loads(json_text(timing(connection({})))))
    assert document.pop("caution")
    assert document == {
        "format": "safeframe-timing/1",
        "connection": "X",
        "profile": "plain",
        "edition": "",
        "watchdog_ms": 100,
        "watchdog_of": "",
        "exchange_ms": 12,
        "spare_ms": 88,
        "reaction": {
            "known_ms": 112,
            "inputs": [
                {"name": "watchdog", "factor": 1, "time_ms": 100},
                {"name": "exchange", "factor": 1, "time_ms": 12},
            ],
            "missing": [],
            "source": "common practice",
        },
        "permitted_ms": None,
        "margin_ms": None,
    }


class TestCommand:
    @pytest.fixture
    def pair(self, tmp_path: Path) -> list[str]:
        paths = []
        for name in ("sc1-lx.toml", "lx-sc1.toml"):
            (tmp_path / name).write_text(demo.after()[name], encoding="utf-8")
            paths.append(str(tmp_path / name))
        return paths

    def test_text_and_json(self, pair: list[str], capsys: pytest.CaptureFixture[str]) -> None:
        assert main(["timing", *pair]) == 0
        assert "reaction time at most   112 ms" in capsys.readouterr().out
        assert main(["timing", "--format", "json", *pair]) == 0
        assert json.loads(capsys.readouterr().out)["reaction"]["known_ms"] == 112

    def test_files_of_two_connections(
        self, pair: list[str], capsys: pytest.CaptureFixture[str]
    ) -> None:
        assert main(["timing", pair[0], pair[0]]) == 2
        text = Path(pair[1]).read_text(encoding="utf-8")
        assert 'name = "LX"' in text
        Path(pair[1]).write_text(text.replace('name = "LX"', 'name = "LX9"'), encoding="utf-8")
        assert main(["timing", *pair]) == 2
        out, err = capsys.readouterr()
        assert out == ""
        assert "must be of two ends, not both of SC1" in err
        assert "must be LX9, not LX" in err

    def test_cycle(self, pair: list[str], capsys: pytest.CaptureFixture[str]) -> None:
        """A cycle time MUST have a part in the sum, or be refused."""
        words = ["timing", "--format", "json", "--cycle-ms", "5", *pair]
        assert main(words) == 2
        assert capsys.readouterr().err == (
            "safeframe: --cycle-ms must stand with a profile whose formula has a cycle time in it: "
            "that of fscp-12-1 has none\n"
        )
        for path in pair:
            text = Path(path).read_text(encoding="utf-8").replace('edition = "2010", ', "")
            Path(path).write_text(text.replace("fscp-12-1", "opcua-safety"), encoding="utf-8")
        assert main(words) == 0
        assert json.loads(capsys.readouterr().out)["reaction"]["known_ms"] == 205

    def test_above_the_permitted_time(
        self, pair: list[str], capsys: pytest.CaptureFixture[str]
    ) -> None:
        for path in pair:
            text = Path(path).read_text(encoding="utf-8")
            text = text.replace("exchange_ms = 12", "exchange_ms = 12, permitted_reaction_ms = 99")
            Path(path).write_text(text.replace("fscp-12-1", "own"), encoding="utf-8")
        assert main(["timing", *pair]) == 1
        assert "-13 ms" in capsys.readouterr().out

    def test_nothing_to_judge_by(self, pair: list[str], capsys: pytest.CaptureFixture[str]) -> None:
        """What nobody stated MUST NOT count as within the permitted time."""
        for path in pair:
            text = Path(path).read_text(encoding="utf-8").replace("watchdog_ms = 100, ", "")
            text = text.replace("exchange_ms = 12", "permitted_reaction_ms = 150")
            Path(path).write_text(text, encoding="utf-8")
        assert main(["timing", *pair]) == 1
        out = capsys.readouterr().out
        assert "not stated: watchdog, exchange\n" in out
        assert "not judged: whether the reaction time is within the permitted one\n" in out
        assert "margin                  not known" in out
        assert main(["timing", "--format", "json", *pair]) == 1
        assert json.loads(capsys.readouterr().out)["margin_ms"] is None

    def test_wrong_cycle(self, pair: list[str], capsys: pytest.CaptureFixture[str]) -> None:
        assert main(["timing", "--cycle-ms", "0", *pair]) == 2
        assert capsys.readouterr().err == "safeframe: --cycle-ms must be 1 or more, not 0\n"
