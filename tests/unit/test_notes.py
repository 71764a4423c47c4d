"""A note beside a map is data from a stranger: shown where it does not fit, never followed."""

from __future__ import annotations

import json
import os
import shlex
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from safeframe import record
from safeframe._cli import main
from safeframe._document.note import FORMAT, note_of
from safeframe._document.pending import refuse_pending
from safeframe._document.recover import recover
from safeframe._document.whole import beside
from safeframe._errors import UsageError
from tests.unit.record_maps import TESTED
from tests.unit.written import MIXED, NEW, OLD, STEPS, end_at, left_over, set_up, state


@pytest.fixture
def paths(tmp_path: Path) -> list[str]:
    made = set_up(tmp_path, apart=False)
    assert end_at(MIXED, made) == "look at what was replaced"
    assert state(made) == "mixed"
    return made


def refused(paths: list[str], how: Any = "finish") -> str:
    before = [Path(path).read_bytes() for path in paths]
    with pytest.raises(UsageError) as caught:
        recover(paths, how=how)
    assert [Path(path).read_bytes() for path in paths] == before
    return str(caught.value)


def altered(paths: list[str], change: Callable[[Any], object]) -> None:
    for path in paths:
        note = note_of(Path(path))
        document = json.loads(note.read_bytes())
        change(document)
        note.write_text(json.dumps(document), encoding="utf-8")


def test_a_note_holds_names_and_digests_and_no_text(paths: list[str]) -> None:
    documents = [json.loads(note_of(Path(path)).read_bytes()) for path in paths]
    assert [document["beside"] for document in documents] == [0, 1]
    assert documents[0]["files"] == documents[1]["files"]
    assert [row["name"] for row in documents[0]["files"]] == ["sc1.toml", "lx.toml"]
    for row in documents[0]["files"]:
        assert set(row) == {"name", "old", "new", "kept", "made"}
        assert all(len(row[key]) == 64 for key in ("old", "new"))
        assert all(type(number) is int for key in ("kept", "made") for number in row[key])


@pytest.mark.parametrize(
    "change",
    [
        lambda note: note.update(format="safeframe-edit-note/1"),
        lambda note: note.update(beside=2),
        lambda note: note.update(more=1),
        lambda note: note["files"].pop(),
        lambda note: note["files"][0].update(text="x"),
        lambda note: note["files"][0].update(old="x" * 64),
        lambda note: note["files"][1].update(new=7),
        lambda note: note["files"][1].update(name="../lx.toml"),
        lambda note: note["files"][1].update(name="/etc/lx.toml"),
        lambda note: note["files"][1].update(name="C:\\lx.toml"),
        lambda note: note["files"][0].update(name=".."),
        lambda note: note["files"][0].update(kept=[1, 2.0]),
        lambda note: note["files"][0].update(kept=[1]),
        lambda note: note.clear(),
    ],
)
def test_a_note_of_another_shape(paths: list[str], change: Callable[[Any], object]) -> None:
    altered(paths, change)
    told = refused(paths)
    assert f"it is not of the format {FORMAT}. Nothing is done because of it" in told
    assert "; it reads: '" in told


@pytest.mark.parametrize("octets", [b"", b"\xff", b"[" * 60000, b"null", b"[]", b"{", b"7"])
def test_a_note_that_is_none(paths: list[str], octets: bytes) -> None:
    note_of(Path(paths[0])).write_bytes(octets)
    assert f"it is not of the format {FORMAT}" in refused(paths)


def test_a_large_note(paths: list[str]) -> None:
    note_of(Path(paths[0])).write_bytes(b"#" * 70000)
    told = refused(paths)
    assert "it has more than 65536 octets" in told
    assert len(told) < 700


@pytest.mark.parametrize("kind", ["link", "pipe", "folder"])
def test_a_note_that_is_no_file(paths: list[str], tmp_path: Path, kind: str) -> None:
    note = note_of(Path(paths[0]))
    note.rename(tmp_path / "elsewhere")
    if kind == "link":
        note.symlink_to(tmp_path / "elsewhere")
    elif kind == "pipe":
        os.mkfifo(note)
    else:
        note.mkdir()
    assert "it is no regular file" in refused(paths)


def test_a_note_that_names_other_files(paths: list[str]) -> None:
    altered(paths, lambda note: note["files"][0].update(name="passwords"))
    assert "it names other files than the one it lies beside" in refused(paths)


def test_notes_of_two_edits(paths: list[str]) -> None:
    note = note_of(Path(paths[1]))
    document = json.loads(note.read_bytes())
    document["files"][0]["old"] = "0" * 64
    note.write_text(json.dumps(document), encoding="utf-8")
    assert refused(paths).startswith("the broken-off edit must be one of both files named, not of")


def test_a_file_of_another_pair(paths: list[str], tmp_path: Path) -> None:
    (tmp_path / "third.toml").write_text("x", encoding="utf-8")
    assert refused([paths[0], str(tmp_path / "third.toml")]) == (
        "the broken-off edit must be one of both files named, not of sc1.toml and lx.toml; "
        "name these two"
    )


@pytest.mark.parametrize("gone", [0, 1])
@pytest.mark.parametrize("order", [1, -1])
def test_one_note_is_enough(paths: list[str], gone: int, order: int) -> None:
    note_of(Path(paths[gone])).unlink()
    assert recover(paths[::order], how="finish").verdict == "finished"
    assert state(paths) == "new"


def test_maps_of_one_name_in_two_folders(tmp_path: Path) -> None:
    made = set_up(tmp_path)
    same = []
    for path in made:
        place = Path(path).with_name("map.toml")
        for suffix in ("", ".old", ".new"):
            Path(f"{path}{suffix}").rename(f"{place}{suffix}")
        same.append(str(place))
    assert end_at(MIXED, same) == "look at what was replaced"
    assert recover(same[::-1], how="finish").verdict == "finished"
    assert [Path(path).read_bytes().decode() for path in same] == list(NEW.values())


@pytest.mark.parametrize("state_of_it", ["by hand", "gone"])
def test_a_file_of_neither_version(paths: list[str], state_of_it: str) -> None:
    if state_of_it == "gone":
        shutil.move(paths[1], f"{paths[1]}.gone")
        with pytest.raises(UsageError) as caught:
            recover(paths, how="undo")
        words = "is not there"
    else:
        Path(paths[1]).write_text("by hand", encoding="utf-8")
        with pytest.raises(UsageError) as caught:
            recover(paths, how="undo")
        words = "is neither as before nor as after the edit"
    assert f"{paths[0]} is as after the edit; {paths[1]} {words}: nothing is touched." in str(
        caught.value
    )
    assert note_of(Path(paths[0])).exists()


def test_a_map_that_is_a_folder(paths: list[str]) -> None:
    Path(paths[1]).unlink()
    Path(paths[1]).mkdir()
    with pytest.raises(UsageError, match="is neither as before nor as after"):
        recover(paths, how="undo")


class TestCopies:
    """MUST: only what the edit itself left here is written, known by digest and by mark."""

    def planted(self, paths: list[str], octets: bytes | None = None) -> Path:
        """Write the copy of the new text anew, as a checkout does: the content alone is right."""
        copy = beside(Path(paths[1]), "new")
        given = copy.read_bytes() if octets is None else octets
        copy.unlink()
        copy.write_bytes(given)
        return copy

    def test_of_a_checkout(self, paths: list[str]) -> None:
        """A planted pair of note and copy: everything fits but where they came from."""
        copy = self.planted(paths)
        assert refused(paths) == (
            f"{copy.name} beside {paths[1]} is nothing that an edit left here: it is a copy that "
            "came from elsewhere. Nothing is touched; look at both maps, then remove it and "
            ".lx.toml.safeframe-edit"
        )
        assert recover(paths).sides[1].new is None
        assert recover(paths, how="undo").verdict == "undone"

    def test_altered(self, paths: list[str]) -> None:
        self.planted(paths, b"relocated = true\n")
        assert "it does not hold what the note says" in refused(paths)

    def test_with_a_second_name(self, paths: list[str], tmp_path: Path) -> None:
        (tmp_path / "second").hardlink_to(beside(Path(paths[1]), "new"))
        assert "it is a copy that came from elsewhere" in refused(paths)

    @pytest.mark.parametrize("kind", ["link", "gone", "pipe"])
    def test_no_file(self, paths: list[str], tmp_path: Path, kind: str) -> None:
        copy = beside(Path(paths[1]), "new")
        shutil.copy2(copy, tmp_path / "elsewhere")
        copy.unlink()
        if kind == "link":
            copy.symlink_to(tmp_path / "elsewhere")
        elif kind == "pipe":
            os.mkfifo(copy)
        assert "it cannot be read as a regular file" in refused(paths)

    def test_links_at_the_places_of_our_files_are_not_followed(self, tmp_path: Path) -> None:
        made = set_up(tmp_path, apart=False)
        victim = tmp_path / "victim"
        victim.write_text("untouched", encoding="utf-8")
        for path in map(Path, made):
            for word in ("old", "new", "note"):
                beside(path, word).symlink_to(victim)
        assert end_at(0, made) == ""
        assert state(made) == "new"
        assert victim.read_text("utf-8") == "untouched"

    @pytest.mark.parametrize("kind", ["link", "hard link", "pipe", "folder"])
    def test_something_else_at_the_place_of_the_lock(
        self, paths: list[str], tmp_path: Path, kind: str
    ) -> None:
        victim = tmp_path / "victim"
        victim.write_text("untouched", encoding="utf-8")
        lock = beside(Path(paths[0]), "lock")
        lock.unlink(missing_ok=True)
        if kind == "link":
            lock.symlink_to(victim)
        elif kind == "hard link":
            lock.hardlink_to(victim)
        elif kind == "pipe":
            os.mkfifo(lock)
        else:
            lock.mkdir()
        told = refused(paths)
        assert "cannot be locked" in told or "must be a lock file, not something else" in told
        assert victim.read_text("utf-8") == "untouched"


def test_a_note_where_nothing_was_begun_is_only_removed(tmp_path: Path) -> None:
    made = set_up(tmp_path)
    assert end_at(MIXED - 3, made) == "put the note there"
    assert recover(made, how="finish").verdict == "not begun"
    assert [Path(path).read_bytes().decode() for path in made] == list(OLD.values())


def test_an_edit_that_cannot_be_undone_any_more(tmp_path: Path) -> None:
    made = set_up(tmp_path)
    assert end_at(STEPS.index("remove the notes") + 1, made) == "remove the notes"
    assert refused(made, how="undo") == (
        "both files hold the edit, and the old texts are removed already: it cannot be undone any "
        "more; without --undo, what is left of it is removed"
    )
    assert recover(made).verdict == "finished"
    assert left_over(made) == []


def test_undoing_an_edit_that_was_complete(tmp_path: Path) -> None:
    made = set_up(tmp_path)
    assert end_at(STEPS.index("clean up") + 1, made) == "clean up"
    assert state(made) == "new"
    assert recover(made, how="undo").verdict == "undone"
    assert state(made) == "old"


HOSTILE = "a;rm -rf $IFS 'x' `id`"


def test_commands_to_paste_run_nothing_that_a_name_says(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Every command that is printed with a file name is one command with that very name."""
    folder = tmp_path / HOSTILE
    paths = set_up(folder, apart=False)
    end_at(MIXED, paths)
    with pytest.raises(UsageError) as caught:
        refuse_pending(paths)
    command = str(caught.value).rpartition("first: ")[2]
    assert shlex.split(command) == ["safeframe", "edit", "recover", *paths]
    monkeypatch.chdir(tmp_path)
    assert main(["demo", "--into", f"{HOSTILE} 2"]) == 0
    out = capsys.readouterr().out
    command = out.rpartition("then run: ")[2]
    assert shlex.split(command) == ["safeframe", "check", f"{HOSTILE} 2/after"]
    after = [f"{HOSTILE} 2/after/{name}" for name in ("sc1-lx.toml", "lx-sc1.toml")]
    before = [f"{HOSTILE} 2/before/{name}" for name in ("sc1-lx.toml", "lx-sc1.toml")]
    one = Path(after[0])
    one.write_text(one.read_text(encoding="utf-8").replace("0x0107", "0x0108"), encoding="utf-8")
    main(["diff", *before, *after])
    (line,) = [row for row in capsys.readouterr().out.splitlines() if "safeframe check" in row]
    assert shlex.split(line) == ["safeframe", "check", *after]


def test_names_of_people_in_commands_to_paste_run_nothing() -> None:
    signed = record.sign(TESTED, who='x" $(id) "', role="r", when="w")
    filled = record.fill(signed, "SC1", who="A. Berg", when="w", serial="8")
    with pytest.raises(UsageError) as caught:
        record.sign(filled, who="C. Dahl", role="r", when="w")
    command = str(caught.value).partition("(safeframe record")[2].removesuffix(" ...)")
    assert shlex.split(command)[-2:] == ["--approval", 'x" $(id) "']
