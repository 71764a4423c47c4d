"""``diff --since`` on a site with a history of random edits, against a model of the answer."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from safeframe._cli import main
from tests.conftest import DEEP
from tests.unit.schemas import fits
from tests.unit.site_history import CONNECTIONS, Editor, Repository, expected

pytestmark = pytest.mark.no_cover

EDITS = 40


@pytest.mark.parametrize("seed", range(8) if DEEP else (0,))
def test_every_edit_of_a_history_is_told(
    seed: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """After each of 40 edits: every connection has its line, and the line says what was done."""
    monkeypatch.chdir(tmp_path)
    repository, editor = Repository(tmp_path), Editor(seed)
    states = [editor.copy()]
    commits = [repository.put(editor.site)]
    seen = set()
    for _ in range(EDITS):
        done = editor.edit()
        commits.append(repository.put(editor.site))
        for back in {1, editor.random.randint(1, len(states))}:
            wanted = expected(states[-back], editor.site)
            code = main(["diff", "--since", commits[-1 - back], "--format", "json", "maps"])
            document = json.loads(capsys.readouterr().out)
            if not len(states) % 8:  # Validating costs more than all the rest.
                fits("diff", document)
            rows = document["site"]["connections"]
            found = {
                row["connection"]: (
                    row["change"],
                    row["was"],
                    any(a and b and a != b for a, b in (end["paths"] for end in row["ends"])),
                    row["settled"],
                )
                for row in rows
            }
            assert found == wanted, (done, back)
            assert len(rows) == len(wanted)
            assert (document["problems"], document["site"]["others"]) == ([], [])
            settled = all(row[3] for row in wanted.values())
            assert (code, document["verdict"]) == ((0, "settled") if settled else (1, "open"))
            seen |= {row[0] for row in wanted.values()}
        states.append(editor.copy())
    assert len(editor.site) >= CONNECTIONS - 2
    assert seen == {
        "unchanged",
        "own parts edited",
        "only one end edited",
        "edited identically",
        "edited differently",
        "only one end",
        "new",
        "removed",
    }
