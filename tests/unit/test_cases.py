"""The record of vectors and fixtures and its files."""

from __future__ import annotations

import contextlib
import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from safeframe import _cases as cases
from safeframe._cases import Case, CaseFile, Origin
from safeframe._errors import InputError, UsageError

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


class TestRefused:
    def test_records(self) -> None:
        with pytest.raises(UsageError, match=r"subject must be one of frame, .*, not 'x'"):
            Case(id="a", subject="x")
        with pytest.raises(UsageError, match=r"verdict must be one of accept, .*, not 'x'"):
            Case(id="a", subject="frame", verdict="x")
        one = Case(id="a", subject="frame")
        with pytest.raises(UsageError, match="kind must be one of published, derived, generated"):
            CaseFile(kind="x", profile="", title="", origin=Origin(document=""))
        with pytest.raises(UsageError, match="case ids must be unique, not twice 'a'"):
            CaseFile(
                kind="derived", profile="", title="", origin=Origin(document=""), cases=(one, one)
            )

    @pytest.mark.parametrize(
        ("text", "expected"),
        [
            ("{", "c.json:1: JSON: Expecting property name enclosed in double quotes"),
            ("{}{}", "c.json:1: JSON: Extra data"),
            ("[]", "c.json: the file must hold an object"),
            (whole(cases={}), "c.json: cases: the value must be an array"),
            (whole(format="x"), "c.json: format: the value must be safeframe-cases/1, not 'x'"),
            (whole(titel="x"), "c.json: titel: the key is unknown (did you mean title?)"),
            (whole(zzzz="x"), "c.json: zzzz: the key is unknown"),
            (whole(kind="x"), "c.json: kind must be one of published, derived, generated, not 'x'"),
            (whole(title=1), "c.json: title: the value must be a text"),
            (whole(source=[]), "c.json: source: the value must be an object"),
            (whole(cases=[1]), "c.json: cases[0]: the value must be an object"),
            (whole(cases=[{"id": "a"}]), "c.json: cases[0]: the key subject is missing"),
            (
                whole(cases=[{"id": "a", "subject": "frame", "octets": "0g"}]),
                "c.json: cases[0].octets: the value must be hexadecimal octets",
            ),
            (
                whole(cases=[{"id": "a", "subject": "frame", "result": [True]}]),
                "c.json: cases[0].result: the value must be an array of integers",
            ),
            (
                whole(cases=[{"id": "a", "subject": "frame", "inputs": {"x": 1.5}}]),
                "c.json: cases[0].inputs.x: the value must be a number or a text",
            ),
            (
                whole(cases=[{"id": "a", "subject": "frame", "verdict": "x"}]),
                "c.json: cases[0]: verdict must be one of accept, repeat, reject, unknown, "
                "undetected, not 'x'",
            ),
            (f"{json.dumps(HEAD)}\n{{\n", "c.json:2: JSON: Expecting property name"),
            (f"[]\n{json.dumps(HEAD)}\n", "c.json:2: JSON: Extra data"),
            ("[" * 100_000, "c.json: JSON: nested too deeply"),
            (f'{{"a": {"9" * 5000}}}', "c.json: JSON: a number with too many digits"),
            (f'{{}}\n{{"a": {"9" * 5000}}}', "c.json:2: JSON: a number with too many digits"),
            (
                f'{json.dumps(HEAD)}\n{{"id": "a", "subject": 1}}\n',
                "c.json:2: cases[0].subject: the value must be a text",
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
            "c.json: the key profile is missing",
            "c.json: the key title is missing",
            "c.json: the key source is missing",
            "c.json: source: the key document is missing",
        ]

    def test_unreadable(self, tmp_path: Path) -> None:
        with pytest.raises(InputError, match=r"none\.json: cannot be read: No such file"):
            cases.load(tmp_path / "none.json")
        (tmp_path / "c.json").write_bytes(b"\xff")
        with pytest.raises(InputError, match="the file must be UTF-8, not octet 0xff"):
            cases.load(tmp_path / "c.json")
