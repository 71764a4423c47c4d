"""Two files are replaced together, whatever kills the process on the way."""

from __future__ import annotations

import json
import os
import stat
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from safeframe._document import replace
from safeframe._document.replace import Replacement, pending, recover, replace_both
from safeframe._errors import UsageError

OLD = {"sc1.toml": "controller, ä\r\n", "lx.toml": "drive\n"}
NEW = {"sc1.toml": "controller, new\r\n", "lx.toml": "drive, neu: ö\n"}

SCRIPT = """\
import os, signal, sys
from safeframe._document.replace import Replacement, recover, replace_both
paths, kill_at, action, undo = sys.argv[1:3], int(sys.argv[3]), sys.argv[4], sys.argv[5] == "undo"
count = 0
def step(name):
    global count
    count += 1
    if count == kill_at:
        print(name, flush=True)
        os.kill(os.getpid(), signal.SIGKILL)
if action == "replace":
    items = []
    for path in paths:
        old, new = (open(f"{path}.{age}", "rb").read().decode() for age in ("old", "new"))
        items.append(Replacement(path=path, old=old, new=new))
    replace_both(*items, step=step)
else:
    recover(paths, undo=undo, step=step)
"""


def set_up(folder: Path) -> list[str]:
    """Write both files, in two folders, and beside them what they were and get."""
    paths = []
    for name, text in OLD.items():
        place = folder / name.removesuffix(".toml")
        place.mkdir()
        for suffix, content in (("", text), (".old", text), (".new", NEW[name])):
            (place / f"{name}{suffix}").write_bytes(content.encode())
        paths.append(str(place / name))
    return paths


def run(paths: list[str], kill_at: int, action: str = "replace", undo: bool = False) -> str:
    """Run an action that kills itself at a step; return the name of the step, empty at the end."""
    words = [*paths, str(kill_at), action, "undo" if undo else ""]
    done = subprocess.run(
        [sys.executable, "-c", SCRIPT, *words], capture_output=True, text=True, check=False
    )
    assert done.stderr == ""
    assert (done.returncode == -9) is bool(done.stdout)
    return done.stdout.strip()


def state(paths: list[str]) -> str:
    """Return whether both files are old, both new, or of two versions."""
    texts = [Path(path).read_bytes().decode() for path in paths]
    names = [Path(path).name for path in paths]
    if texts == [OLD[name] for name in names]:
        return "old"
    return "new" if texts == [NEW[name] for name in names] else "mixed"


def left_over(paths: list[str]) -> list[str]:
    return [entry.name for path in paths for entry in Path(path).parent.glob(".*")]


def kills(tmp_path: Path) -> Iterator[tuple[int, str, list[str]]]:
    """Yield (step number, its name, paths) after a kill at every step of a replacement."""
    for number in range(1, 100):
        folder = tmp_path / str(number)
        folder.mkdir()
        paths = set_up(folder)
        name = run(paths, number)
        if not name:
            assert state(paths) == "new"
            assert left_over(paths) == []
            return
        yield number, name, paths


def test_killed_at_every_step(tmp_path: Path) -> None:
    """MUST: after a kill the files are both old or both new, or a note says that they are not."""
    seen = []
    for _, name, paths in kills(tmp_path):
        found = state(paths)
        seen.append((name, found))
        note = pending(paths[::-1])
        assert note is not None or found in ("old", "new")
        if note is None:
            continue
        with pytest.raises(UsageError, match="run first: safeframe edit recover"):
            replace_both(*(Replacement(path=path, old="", new="") for path in paths))
        said = recover(paths)
        assert state(paths) == ("new" if said.startswith("finished") else "old")
        assert (found == "mixed") <= said.startswith("finished")
        assert left_over(paths) == []
        assert pending(paths) is None
    assert [name for name, _ in seen] == [
        "create the note",
        "write half of the note",
        "write the rest of the note",
        "flush the note",
        "flush the folder of the note",
        *(
            f"{step} temporary file"
            for _ in range(2)
            for step in (
                "create the",
                "write half of the",
                "write the rest of the",
                "flush the",
                "flush the folder of the",
            )
        ),
        "rename",
        "rename",
        "remove the note",
        "done",
    ]
    assert [found for _, found in seen] == ["old"] * 16 + ["mixed"] + ["new"] * 2


@pytest.mark.parametrize("undo", [False, True])
def test_recovery_killed_at_every_step(tmp_path: Path, undo: bool) -> None:
    """MUST: a recovery that is killed can be recovered again."""
    for number in range(1, 100):
        (tmp_path / str(number)).mkdir()
        paths = set_up(tmp_path / str(number))
        assert run(paths, 17) == "rename"
        assert state(paths) == "mixed"
        name = run(paths, number, "recover", undo)
        if pending(paths):
            recover(paths, undo=undo)
        assert state(paths) == ("old" if undo else "new")
        assert left_over(paths) == []
        if not name:
            return


def test_a_note_cut_at_any_length(tmp_path: Path) -> None:
    """MUST: a note that is not whole is taken for an edit that had not begun."""
    paths = set_up(tmp_path)
    assert run(paths, 6) == "create the temporary file"
    note = pending(paths)
    assert note is not None
    whole = note.read_bytes()
    assert replace._read_note(note) is not None
    for length in range(len(whole)):
        note.write_bytes(whole[:length])
        assert replace._read_note(note) is None, length
    assert recover(paths) == "undone: the edit had not begun, both files are as they were"
    assert state(paths) == "old"


def items(paths: list[str]) -> list[Replacement]:
    return [
        Replacement(path=path, old=OLD[Path(path).name], new=NEW[Path(path).name]) for path in paths
    ]


def test_mode_and_links_survive(tmp_path: Path) -> None:
    paths = set_up(tmp_path)
    Path(paths[0]).chmod(0o640)
    link = tmp_path / "link.toml"
    link.symlink_to(paths[1])
    first, second = items(paths)
    replace_both(first, Replacement(path=str(link), old=second.old, new=second.new))
    assert stat.S_IMODE(Path(paths[0]).stat().st_mode) == 0o640
    assert link.is_symlink()
    assert state(paths) == "new"


def test_a_file_that_stays_is_not_touched(tmp_path: Path) -> None:
    paths = set_up(tmp_path)
    before = Path(paths[0]).stat()
    first, second = items(paths)
    replace_both(Replacement(path=first.path, old=first.old, new=first.old), second)
    assert Path(paths[0]).stat().st_ino == before.st_ino
    assert Path(paths[1]).read_bytes().decode() == second.new


@pytest.mark.parametrize("killed", [10, 11, 12])
def test_recovery_where_one_file_stays(tmp_path: Path, killed: int) -> None:
    paths = set_up(tmp_path)
    Path(f"{paths[0]}.new").write_bytes(OLD["sc1.toml"].encode())
    run(paths, killed)
    said = recover(paths)
    assert said.startswith("undone" if killed < 12 else "finished")
    assert Path(paths[0]).read_bytes().decode() == OLD["sc1.toml"]
    assert Path(paths[1]).read_bytes().decode() == (OLD if killed < 12 else NEW)["lx.toml"]


class TestRefusals:
    def refused(self, first: Replacement, second: Replacement) -> str:
        with pytest.raises(UsageError) as caught:
            replace_both(first, second)
        return str(caught.value)

    def test_one_file_twice(self, tmp_path: Path) -> None:
        first, _ = items(set_up(tmp_path))
        assert self.refused(first, first) == f"two files must be replaced, not {first.path} twice"

    def test_changed_since(self, tmp_path: Path) -> None:
        first, second = items(set_up(tmp_path))
        Path(second.path).write_text("other", encoding="utf-8")
        assert self.refused(first, second) == (
            f"{second.path} must be as it was read, not changed since (run it again)"
        )
        assert left_over([first.path, second.path]) == []

    def test_hard_links(self, tmp_path: Path) -> None:
        first, second = items(set_up(tmp_path))
        os.link(first.path, tmp_path / "again.toml")
        assert self.refused(first, second) == (
            f"{first.path} must have one name only, not 2 (hard links): "
            "the others would keep the old text"
        )

    def test_not_writable(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        first, second = items(set_up(tmp_path))
        monkeypatch.setattr(os, "access", lambda path, mode: False)
        assert self.refused(first, second) == f"{first.path} must be writable"

    def test_another_edit_at_the_same_time(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        first, second = items(set_up(tmp_path))
        (Path(first.path).parent / ".sc1.toml.safeframe-edit").write_text("x", encoding="utf-8")
        monkeypatch.setattr(replace, "pending", lambda paths: None)
        assert self.refused(first, second) == (
            "another edit is under way: .sc1.toml.safeframe-edit is there"
        )
        assert state([first.path, second.path]) == "old"

    def test_nothing_to_recover(self, tmp_path: Path) -> None:
        paths = set_up(tmp_path)
        with pytest.raises(UsageError, match="there must be a broken-off edit to recover"):
            recover(paths)

    @pytest.mark.parametrize("gone", [False, True])
    def test_a_file_of_neither_version(self, tmp_path: Path, gone: bool) -> None:
        paths = set_up(tmp_path)
        assert run(paths, 17) == "rename"
        if gone:
            Path(paths[1]).unlink()
        else:
            Path(paths[1]).write_text("by hand", encoding="utf-8")
        with pytest.raises(UsageError) as caught:
            recover(paths)
        assert "must be as before or after the edit, not changed otherwise since" in str(
            caught.value
        )
        assert pending(paths) is not None

    @pytest.mark.parametrize("text", ['{\n "format": "x"\n}\n', "{\n]\n}\n", "\xff\n}\n"])
    def test_a_note_of_somebody_else(self, tmp_path: Path, text: str) -> None:
        paths = set_up(tmp_path)
        note = Path(paths[0]).parent / ".sc1.toml.safeframe-edit"
        note.write_bytes(text.encode("latin-1"))
        with pytest.raises(UsageError) as caught:
            recover(paths)
        assert str(caught.value) == (
            "the note .sc1.toml.safeframe-edit must be of the format safeframe-edit-note/1, "
            "not another"
        )


def test_the_note_says_what_it_is_without_absolute_paths(tmp_path: Path) -> None:
    paths = set_up(tmp_path)
    run(paths, 6)
    note = pending(paths)
    assert note is not None
    document = json.loads(note.read_bytes())
    assert document["format"] == replace.FORMAT
    assert [entry["path"] for entry in document["files"]] == [
        "sc1.toml",
        str(Path("..") / "lx" / "lx.toml"),
    ]
    assert "safeframe edit recover" in document["what"]


def test_a_system_that_opens_no_folders(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    paths = set_up(tmp_path)
    real = os.open

    def opened(path: Path, flags: int, *mode: int) -> int:
        if flags == os.O_RDONLY and Path(path).is_dir():
            raise PermissionError
        return real(path, flags, *mode)

    monkeypatch.setattr(os, "open", opened)
    replace_both(*items(paths))
    assert state(paths) == "new"
