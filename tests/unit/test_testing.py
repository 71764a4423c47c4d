"""The public strategies and the pytest plugin."""

from __future__ import annotations

import builtins
import importlib
import re
import sys
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from safeframe import _checks as checks
from safeframe import _demo as demo
from safeframe import fixtures, testing
from safeframe._errors import UsageError
from safeframe._link import Link, link_of
from safeframe.capture import Judge
from safeframe.fixtures import FrameSet, SentFrame
from tests.strategies import lines, names, notes

from .links import demo_connection, make

pytest_plugins = ["pytester"]


class TestStrategies:
    @given(link=testing.links())
    @settings(max_examples=30)
    def test_connections_have_no_error(self, link: Link) -> None:
        found = checks.check(link.connection).findings
        assert [finding for finding in found if finding.severity == "error"] == []

    @given(steps=testing.streams(demo_connection()))
    @settings(max_examples=30)
    def test_streams_are_accepted(self, steps: tuple[SentFrame, ...]) -> None:
        judge = Judge(link_of(demo_connection()), fresh=True)
        for step in steps:
            assert judge.judge(step.side, step.octets, step.time_us).result == "accepted"

    @given(made=testing.faults(make("fscp-3-1", 2, 4, {})))
    @settings(max_examples=20)
    def test_faults_are_of_a_kind(self, made: FrameSet) -> None:
        assert made.fault in fixtures.ERRORS
        # A frame that comes twice at once changes nothing: it is a repeat, not rejected.
        told = [step.verdict for step in made.steps if step.verdict != "accept"]
        assert told == (["repeat"] if made.label.startswith("fault-duplicate") else ["reject"])

    @given(octets=testing.safety_data(make("fscp-12-1", 8, 12, {}), 1))
    @settings(max_examples=20)
    def test_data_fill_the_frame(self, octets: bytes) -> None:
        assert len(octets) == 12

    @given(map_=testing.maps(), end=testing.ends(), entry=testing.signals() | testing.reserved())
    @settings(max_examples=20)
    def test_models(self, map_: Any, end: Any, entry: Any) -> None:
        assert len(map_.entries) <= 6
        assert end.name
        assert entry.width >= 1

    @given(connection=testing.clean_connections("plain"))
    @settings(max_examples=20)
    def test_plain(self, connection: Any) -> None:
        assert connection.first.connection_table.legal_octets

    @pytest.mark.parametrize("profile", ["fscp-2-1", "opcua-safety"])
    def test_restricted_maps_are_not_drawn(self, profile: str) -> None:
        text = f"clean connections of {profile} are not drawn: its maps are restricted"

        @given(connection=testing.clean_connections(profile))
        @settings(max_examples=1)
        def drawn(connection: Any) -> None:
            raise AssertionError

        with pytest.raises(UsageError, match=text):
            drawn()

    def test_without_hypothesis(self, monkeypatch: pytest.MonkeyPatch) -> None:
        real = builtins.__import__

        def missing(name: str, *args: Any, **more: Any) -> Any:
            if name.startswith("hypothesis"):
                raise ImportError(name)
            return real(name, *args, **more)

        for name in [name for name in sys.modules if name.startswith("safeframe.testing")]:
            monkeypatch.delitem(sys.modules, name)
        monkeypatch.setattr(builtins, "__import__", missing)
        with pytest.raises(ImportError, match=r"^safeframe\.testing needs hypothesis: pip install"):
            importlib.import_module("safeframe.testing")

    def test_strategies_are_what_they_say(self) -> None:
        assert all(callable(getattr(testing, name)) for name in testing.__all__)

    def test_the_page_names_each_of_them(self) -> None:
        page = Path(__file__).parents[2] / "docs" / "testing-plugin.md"
        table = page.read_text(encoding="utf-8").partition("## Fixtures")[0]
        assert sorted(re.findall(r"[|,] `(\w+)\(", table)) == sorted(testing.__all__)
        assert isinstance(testing.links(), st.SearchStrategy)


TESTS = """
def test_connection(safeframe_connection):
    assert safeframe_connection.name == "SC1-LX"

def test_exchange(safeframe_link):
    assert safeframe_link.profile == "fscp-12-1"

def test_states(safeframe_states, safeframe_link):
    from safeframe.capture import Judge
    judge = Judge(safeframe_link, fresh=True)
    for step in safeframe_states.steps:
        assert judge.judge(step.side, step.octets).result == "accepted"

def test_fault(safeframe_fault):
    assert safeframe_fault.steps[-1].verdict in ("reject", "accept", "repeat")
"""


class TestPlugin:
    @pytest.fixture
    def project(self, pytester: pytest.Pytester) -> pytest.Pytester:
        for name in ("sc1-lx.toml", "lx-sc1.toml"):
            (pytester.path / name).write_text(demo.after()[name], encoding="utf-8")
        pytester.makepyfile(TESTS)
        return pytester

    def run(self, project: pytest.Pytester, ini: str) -> pytest.RunResult:
        project.makeini(f"[pytest]\n{ini}\n")
        return project.runpytest_inprocess(
            "-p", "safeframe.pytest_plugin", "-p", "no:safeframe", "-v"
        )

    def test_fixtures(self, project: pytest.Pytester) -> None:
        done = self.run(project, "safeframe_maps = sc1-lx.toml lx-sc1.toml\nsafeframe_seed = 3")
        sets = fixtures.make(link_of(demo_connection()), "faults", seed=3)
        assert len(sets) == 32  # As the page of the plugin says.
        done.assert_outcomes(passed=3 + len(sets))
        done.stdout.fnmatch_lines(["*test_fault?duplicate? PASSED*"])

    def test_maps_must_be_named(self, project: pytest.Pytester) -> None:
        done = self.run(project, "safeframe_maps = sc1-lx.toml")
        done.stdout.fnmatch_lines(["*safeframe_maps must name two map files, not 1*"])

    def test_the_seed_must_be_a_number(self, project: pytest.Pytester) -> None:
        done = self.run(project, "safeframe_maps = sc1-lx.toml lx-sc1.toml\nsafeframe_seed = x")
        done.stdout.fnmatch_lines(["*safeframe_seed must be an integer, not 'x'*"])

    def test_other_tests_do_not_notice(self, pytester: pytest.Pytester) -> None:
        pytester.makepyfile(
            "import sys\n"
            "def test_nothing_of_it_is_loaded():\n"
            "    loaded = {name for name in sys.modules if name.startswith('safeframe')}\n"
            "    assert loaded == {'safeframe', 'safeframe.pytest_plugin'}\n"
            "    assert 'hypothesis' not in sys.modules\n"
        )
        done = pytester.runpytest_subprocess(
            "-p", "safeframe.pytest_plugin", "-p", "no:safeframe", "-p", "no:hypothesispytest"
        )
        done.assert_outcomes(passed=1)


@given(names(), lines(), notes())
def test_names_are_seen_and_lines_are_one(name: str, line: str, note: str) -> None:
    assert note.count("\x00") == 0
    assert name.strip()
    assert len(name.splitlines()) == 1
    assert len(line.splitlines()) <= 1
