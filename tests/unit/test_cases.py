"""The record of vectors and fixtures and its files."""

from __future__ import annotations

import contextlib
import json
import re
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from safeframe import cases
from safeframe._errors import InputError, UsageError
from safeframe.cases import Case, CaseFile, Origin

HEAD = {
    "format": "safeframe-cases/1",
    "kind": "generated",
    "profile": "plain",
    "title": "t",
    "source": {"document": "d"},
}


def problems(text: str) -> list[str]:
    with pytest.raises(InputError) as caught:
        cases.loads(text, path="c.json")
    return [str(problem) for problem in caught.value.problems]


def whole(**changes: object) -> str:
    return json.dumps({**HEAD, "cases": [], **changes})


texts = st.text(max_size=8)
some_cases = st.builds(
    Case,
    id=texts,
    subject=st.sampled_from(cases.SUBJECTS),
    inputs=st.dictionaries(texts, st.integers() | texts | st.booleans(), max_size=3),
    octets=st.binary(max_size=8),
    result=st.lists(st.integers(), max_size=3).map(tuple),
    verdict=st.sampled_from(("", *cases.VERDICTS)),
    check=texts,
    fault=texts,
    note=texts,
)
files = st.builds(
    CaseFile,
    kind=st.sampled_from(cases.KINDS),
    profile=texts,
    title=texts,
    origin=st.builds(Origin, document=texts, edition=texts, clause=texts, confidence=texts),
    cases=st.lists(some_cases, max_size=4, unique_by=lambda case: case.id).map(tuple),
)


class TestRoundTrip:
    @given(files, st.booleans())
    def test_reading_gives_what_was_written(self, file: CaseFile, lines: bool) -> None:
        """dumps and loads are inverse in both forms, and dumping again gives the same text."""
        text = cases.dumps(file, lines=lines)
        assert cases.loads(text) == file
        assert cases.dumps(cases.loads(text), lines=lines) == text

    @pytest.mark.parametrize("name", ["c.json", "c.jsonl"])
    def test_files(self, tmp_path: Path, name: str) -> None:
        file = CaseFile(
            kind="derived",
            profile="plain",
            title="é",
            origin=Origin(document="d"),
            cases=(Case(id="a", subject="frame"), Case(id="b", subject="crc")),
        )
        cases.save(file, tmp_path / name)
        assert cases.load(str(tmp_path / name)) == file
        lines = (tmp_path / name).read_text(encoding="utf-8").splitlines()
        assert (len(lines) == 3) is name.endswith("l")
        cases.save(file, str(tmp_path / name))  # Its own kind is replaced.
        assert [one.name for one in tmp_path.iterdir()] == [name]

    def test_a_file_of_another_kind_is_never_overwritten(self, tmp_path: Path) -> None:
        file = CaseFile(kind="derived", profile="plain", title="t", origin=Origin(document="d"))
        path = tmp_path / "c.json"
        for text in ("somebody's work\n", '{"format": "safeframe-record/2"}\n'):
            path.write_text(text, encoding="utf-8")
            with pytest.raises(UsageError, match=r"overwrite .*, which is no file of cases"):
                cases.save(file, path)
            assert path.read_text(encoding="utf-8") == text
        path.unlink()
        path.mkdir()
        with pytest.raises(UsageError, match=r"must name a file, not .*, which is none"):
            cases.save(file, path)

    @pytest.mark.parametrize(
        ("given", "told"),
        [
            ({"note": 7}, "cases[0].note: note must be a text, not 7"),
            ({"inputs": {"x": [1]}}, "cases[0].inputs.x: x must be an integer, a text, true "),
        ],
    )
    @pytest.mark.parametrize("name", ["c.json", "c.jsonl"])
    def test_what_could_not_be_read_back_is_not_written(
        self, tmp_path: Path, name: str, given: dict[str, Any], told: str
    ) -> None:
        one = Case(id="a", subject="frame", **given)
        origin = Origin(document="d")
        file = CaseFile(kind="derived", profile="plain", title="t", origin=origin, cases=(one,))
        with pytest.raises(UsageError, match=f"^{re.escape(told)}"):
            cases.save(file, tmp_path / name)
        assert list(tmp_path.iterdir()) == []


class TestRefused:
    def test_records(self) -> None:
        with pytest.raises(UsageError, match=r"subject must be one of frame, .*, not 'x'"):
            Case(id="a", subject="x")
        with pytest.raises(UsageError, match=r"verdict must be one of accept, .*, not 'x'"):
            Case(id="a", subject="frame", verdict="x")
        one = Case(id="a", subject="frame")
        with pytest.raises(UsageError, match="kind must be one of published, recorded, derived"):
            CaseFile(kind="x", profile="", title="", origin=Origin(document=""))
        with pytest.raises(UsageError, match="case ids must be unique, not twice 'a'"):
            CaseFile(
                kind="derived", profile="", title="", origin=Origin(document=""), cases=(one, one)
            )

    @pytest.mark.parametrize(
        ("text", "expected"),
        [
            ("{", "c.json:1: the text must be valid JSON at column 2: Expecting property name"),
            ("{}{}", "c.json:1: the text must be valid JSON at column 3: Extra data"),
            ("[]", "c.json: a file of cases must be an object, not an array"),
            (whole(cases={}), "c.json:1: cases: cases must be an array, not an object"),
            (whole(format="x"), "c.json:1: format: format must be \"safeframe-cases/1\", not 'x'"),
            (
                whole(titel="x"),
                "c.json:1: titel: a key must be one that a file of cases knows, not 'titel' "
                "(did you mean title?)",
            ),
            (
                whole(zzzz="x"),
                "c.json:1: zzzz: a key must be one that a file of cases knows, not 'zzzz' "
                "(known are format,",
            ),
            (
                whole(kind="x"),
                "c.json:1: kind: kind must be one of published, recorded, derived, generated, "
                "not 'x'",
            ),
            (whole(title=1), "c.json:1: title: title must be a text, not 1"),
            (whole(source=[]), "c.json:1: source: source must be an object, not an array"),
            (whole(cases=[1]), "c.json:1: cases[0]: an entry of cases must be an object, not 1"),
            (whole(cases=[{"id": "a"}]), "c.json:1: cases[0].subject: subject must be stated"),
            (
                whole(cases=[{"id": "a", "subject": "frame", "octets": "0g"}]),
                "c.json:1: cases[0].octets: octets must be hexadecimal octets, not '0g'",
            ),
            (
                whole(cases=[{"id": "a", "subject": "frame", "result": [True]}]),
                "c.json:1: cases[0].result[0]: an entry of result must be an integer, not true",
            ),
            (
                whole(cases=[{"id": "a", "subject": "frame", "inputs": [1]}]),
                "c.json:1: cases[0].inputs: inputs must be an object, not an array",
            ),
            (
                whole(cases=[{"id": "a", "subject": "frame", "inputs": {"x": 1.5}}]),
                "c.json:1: cases[0].inputs.x: x must be an integer, a text, true or false, not 1.5",
            ),
            (
                whole(cases=[{"id": "a", "subject": "frame", "verdict": "x"}]),
                "c.json:1: cases[0].verdict: verdict must be one of accept, repeat, reject, "
                "unknown, undetected, not 'x'",
            ),
            (
                whole(cases=[{"id": "a", "subject": "frame"}] * 2),
                "c.json:1: cases[1].id: id must stand once, not 'a' again",
            ),
            (
                f"{json.dumps(HEAD)}\n{{\n",
                "c.json:2: the text must be valid JSON at column 2: Expecting property name",
            ),
            (
                f"[]\n{json.dumps(HEAD)}\n",
                "c.json:2: the text must be valid JSON at column 1: Extra data",
            ),
            ("[" * 100_000, "c.json:1: arrays and objects must not be nested as deeply as here"),
            (
                f'{{"a": {"9" * 5000}}}',
                "c.json:1: the text must be valid JSON: an integer must have at most 1300 digits",
            ),
            (
                f'{{}}\n{{"a": {"9" * 5000}}}',
                "c.json:2: the text must be valid JSON: an integer must have at most 1300 digits",
            ),
            *(
                (
                    f'{whole(cases=held)}\n{{"id": "b", "subject": "frame"}}\n',
                    "c.json:1: cases: the head of JSON Lines must go without cases",
                )
                for held in ([], [{"id": "a", "subject": "frame"}])
            ),
            (
                f'{json.dumps(HEAD)}\n{{"id": "a", "subject": 1}}\n',
                "c.json:2: cases[0].subject: subject must be one of frame, step,",
            ),
        ],
    )
    def test_texts(self, text: str, expected: str) -> None:
        found = problems(text)
        assert len(found) == 1
        assert found[0].startswith(expected)

    @given(st.text(max_size=60) | st.text('{}[]",:\n0123456789eE.-+ \\', max_size=60))
    def test_any_text_is_read_or_refused(self, text: str) -> None:
        """Reading raises InputError and nothing else."""
        with contextlib.suppress(InputError):
            cases.loads(text)

    @given(
        st.recursive(
            st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=4),
            lambda inner: (
                st.lists(inner, max_size=3)
                | st.dictionaries(
                    st.sampled_from([*HEAD, "cases", "id", "subject"]), inner, max_size=4
                )
            ),
            max_leaves=12,
        ),
        st.sampled_from([*HEAD, "cases"]),
    )
    def test_any_value_is_read_or_refused(self, value: object, key: str) -> None:
        """A value of any shape under a known key is read or refused, never a crash."""
        with contextlib.suppress(InputError):
            cases.loads(json.dumps({**HEAD, "cases": [], key: value}))

    def test_a_missing_source_is_one_of_several_problems(self) -> None:
        assert problems('{"format": "safeframe-cases/1", "kind": "derived"}') == [
            "c.json: profile: profile must be stated",
            "c.json: title: title must be stated",
            "c.json: source: source must be stated",
        ]

    def test_unreadable(self, tmp_path: Path) -> None:
        with pytest.raises(
            InputError, match=r"none\.json: the file must be readable: No such file"
        ):
            cases.load(tmp_path / "none.json")
        (tmp_path / "c.json").write_bytes(b"\xff")
        with pytest.raises(InputError, match="a file of cases must be UTF-8 text, not octet 0xff"):
            cases.load(tmp_path / "c.json")
