"""Files are replaced together, whatever kills the process or writes to them on the way."""

from __future__ import annotations

import os
import signal
import stat
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from safeframe._document import platform
from safeframe._document.lock import hold, holder
from safeframe._document.pending import notice, pending, refuse_pending
from safeframe._document.recover import How, recover
from safeframe._document.replace import Replacement, replace_all
from safeframe._document.whole import ChangedError, beside, see, write_new
from safeframe._errors import UsageError, WriteError
from tests.unit.written import MIXED, NEW, OLD, STEPS, end_at, items, left_over, set_up, state


def test_killed_at_every_step(tmp_path: Path) -> None:
    """MUST: after a kill the files are both old or both new, or a note says that they are not."""
    seen = []
    for number in range(1, len(STEPS) + 2):
        paths = set_up(tmp_path / str(number), apart=bool(number % 2))
        name = end_at(number, paths)
        found = state(paths)
        seen.append((name, found))
        told = any(map(pending, paths))
        assert told or found != "mixed"
        if told:
            with pytest.raises(UsageError, match="was broken off, as a note beside them says"):
                replace_all(*items(paths))
            given = paths if number % 3 else paths[::-1]
            done = recover(given)
            assert (done.verdict == "open") is (found == "mixed")
            if done.verdict == "open":
                assert state(paths) == "mixed"
                wanted: How = "finish" if number % 2 else "undo"
                assert recover(given, how=wanted).verdict in ("finished", "undone")
                assert state(paths) == ("new" if wanted == "finish" else "old")
            else:
                assert done.verdict == ("not begun" if found == "old" else "finished")
        else:
            again = items(paths) if state(paths) == "old" else []
            replace_all(*again)
        assert left_over(paths) == [] or not told
        assert not any(map(pending, paths))
    assert [name for name, _ in seen] == [*STEPS, ""]
    first = STEPS.index("look at what was replaced")
    second = STEPS.index("look at what was replaced", first + 1)
    assert [found for _, found in seen] == [
        *["old"] * first,
        *["mixed"] * (second - first),
        *["new"] * (len(STEPS) + 1 - second),
    ]


@pytest.mark.parametrize("how", ["finish", "undo"])
def test_recovery_killed_at_every_step(tmp_path: Path, how: How) -> None:
    """MUST: a recovery that is killed can be recovered again."""
    for number in range(1, 100):
        paths = set_up(tmp_path / str(number))
        assert end_at(MIXED, paths) == "look at what was replaced"
        assert state(paths) == "mixed"
        name = end_at(number, paths, how)
        if any(map(pending, paths)):
            recover(paths, how=how)
        assert state(paths) == ("new" if how == "finish" else "old")
        assert left_over(paths) == [] or name == "done"
        if not name:
            assert number > 8
            return


def test_a_lock_file_left_by_a_kill_locks_nothing(tmp_path: Path) -> None:
    paths = set_up(tmp_path)
    assert end_at(1, paths) == STEPS[0]
    assert left_over(paths) == [".lx.toml.safeframe-lock", ".sc1.toml.safeframe-lock"]
    assert holder(Path(paths[0])) is None
    replace_all(*items(paths))
    assert state(paths) == "new"
    assert left_over(paths) == []


def broken_off(tmp_path: Path, *, apart: bool = True) -> list[str]:
    paths = set_up(tmp_path, apart=apart)
    end_at(MIXED, paths)
    assert state(paths) == "mixed"
    return paths


def test_what_is_told_of_a_broken_off_edit(tmp_path: Path) -> None:
    paths = broken_off(tmp_path)
    assert notice([paths[0], paths[0], "none.toml"]) == (
        f"the note of an edit that was broken off lies beside {paths[0]}: what is read may be of "
        "two versions; safeframe edit recover, with the maps of both ends, shows the state"
    )
    link = tmp_path / "link.toml"
    link.symlink_to(paths[1])
    assert pending(str(link))
    assert not pending("nul\0octet")
    assert not pending("nul\0octet" * 5)
    assert not pending("\ud800" * 50)
    done = recover(paths)
    assert [(side.state, side.holds, side.old, side.new) for side in done.sides] == [
        ("new", NEW["sc1.toml"], OLD["sc1.toml"], NEW["sc1.toml"]),
        ("old", OLD["lx.toml"], OLD["lx.toml"], NEW["lx.toml"]),
    ]
    assert state(paths) == "mixed"


def rewritten(path: Path) -> None:
    """Write as much in place, and put the times back."""
    before = path.stat()
    path.write_bytes(path.read_bytes().swapcase())
    os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))


def saved_again(path: Path) -> None:
    """Let another file of the same content take the name."""
    made = path.with_name("made")
    made.write_bytes(path.read_bytes())
    made.replace(path)


class TestRaces:
    """MUST: what another program writes on the way stays, and nothing of two versions is left."""

    @pytest.mark.parametrize("exchange", [True, False])
    @pytest.mark.parametrize("name", OLD)
    @pytest.mark.parametrize("in_place", [True, False])
    @pytest.mark.parametrize("number", range(1, len(STEPS) + 1))
    def test_a_write_at_every_step(
        self,
        tmp_path: Path,
        monkeypatch: pytest.MonkeyPatch,
        number: int,
        name: str,
        in_place: bool,
        exchange: bool,
    ) -> None:
        if not exchange:
            monkeypatch.setattr(platform.Posix, "swap", lambda *_: False)
        paths = set_up(tmp_path)
        path = next(Path(path) for path in paths if Path(path).name == name)
        steps: list[str] = []

        def step(word: str) -> None:
            steps.append(word)
            if len(steps) == number:
                if in_place:
                    path.write_bytes(b"by another program\n")
                else:
                    other = path.with_name("other")
                    other.write_bytes(b"by another program\n")
                    other.replace(path)

        try:
            replace_all(*items(paths), step=step)
            told = ""
        except (UsageError, WriteError) as error:
            told = str(error)
        if len(steps) < number:
            return
        lost = not exchange and steps[number - 1] == "rename"
        if steps[number - 1] not in ("clean up", "remove the notes", "done"):
            # Without an exchange there is a moment between the look and the replacement.
            assert bool(told) is not (
                lost and path == Path(paths[steps[:number].count("rename") - 1])
            )
        if told:
            assert path.read_bytes() == b"by another program\n"
            (rest,) = (other for other in map(Path, paths) if other != path)
            assert rest.read_bytes().decode() == OLD[rest.name]
            assert f"{path} holds the version of another program" in told
            assert f"{rest} is as it was" in told
        assert left_over(paths) == []

    def test_written_twice_in_one_moment(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        paths = set_up(tmp_path)
        real = platform.Posix.swap
        writes = iter([b"first\n", b"second\n"])

        def swap(self: platform.Posix, made: Path, target: Path) -> bool:
            octets = next(writes, None)
            if octets is not None:
                other = target.with_name("other")
                other.write_bytes(octets)
                other.replace(target)
            return real(self, made, target)

        monkeypatch.setattr(platform.Posix, "swap", swap)
        with pytest.raises(UsageError, match="not changed since by another program"):
            replace_all(*items(paths))
        assert Path(paths[0]).read_bytes() == b"second\n"
        assert Path(paths[1]).read_bytes().decode() == OLD["lx.toml"]
        assert left_over(paths) == []

    @pytest.mark.parametrize("other", [rewritten, saved_again])
    @pytest.mark.parametrize("moment", ["flush the new text", "rename"])
    def test_content_and_file_count_both(
        self, tmp_path: Path, other: Callable[[Path], None], moment: str
    ) -> None:
        """MUST: neither the same size and times nor the same content make a file the same."""
        paths = set_up(tmp_path)
        theirs: list[tuple[bytes, int]] = []

        def step(word: str) -> None:
            if word == moment and not theirs:
                other(Path(paths[0]))
                theirs.append((Path(paths[0]).read_bytes(), Path(paths[0]).stat().st_ino))

        with pytest.raises(UsageError, match="another program"):
            replace_all(*items(paths), step=step)
        assert [(Path(paths[0]).read_bytes(), Path(paths[0]).stat().st_ino)] == theirs
        assert Path(paths[1]).read_bytes().decode() == OLD["lx.toml"]
        assert left_over(paths) == []

    def test_folders_are_flushed_after_each_change_of_a_name(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        """A name that is not on the disk yet would come back after a power cut."""
        paths = set_up(tmp_path)
        told: list[str] = []

        def flush(self: platform.Posix, folder: Path) -> None:
            assert tmp_path in folder.parents
            told.append("flushed")

        monkeypatch.setattr(platform.Posix, "flush_folder", flush)
        replace_all(*items(paths), step=told.append)
        for number, word in enumerate(told):
            if word == "look at what was replaced":
                assert told[number + 1] == "flushed"
            if word.startswith("flush the folder"):
                assert told[number + 1] == "flushed"

    def test_every_new_file_is_flushed(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        """A name on the disk before its content would be an empty file after a power cut."""
        paths = set_up(tmp_path)
        told: list[str] = []
        monkeypatch.setattr(os, "fsync", lambda _descriptor: told.append("flushed"))
        replace_all(*items(paths), step=told.append)
        flushes = [n for n, word in enumerate(told) if word.startswith("flush the ")]
        assert len([n for n in flushes if "folder" not in told[n]]) == 6
        assert all(told[number + 1] == "flushed" for number in flushes)

    def test_a_file_that_only_belongs_to_the_question(self, tmp_path: Path) -> None:
        paths = set_up(tmp_path)
        first, second = items(paths)

        def step(word: str) -> None:
            if word == "flush the new text":
                Path(paths[0]).write_bytes(b"other")

        with pytest.raises(UsageError, match=r"sc1.toml was changed by another program"):
            replace_all(first._replace(new=first.old), second, step=step)
        assert Path(paths[1]).read_bytes().decode() == second.old
        assert left_over(paths) == []


def interrupting(number: int, error: Callable[[], BaseException]) -> Callable[[str], None]:
    count = 0

    def step(_: str) -> None:
        nonlocal count
        count += 1
        if count == number:
            raise error()

    return step


@pytest.mark.parametrize("kind", [KeyboardInterrupt, lambda: OSError(5, "Input/output error")])
@pytest.mark.parametrize("number", range(1, len(STEPS) + 1))
def test_what_fails_on_the_way_is_rolled_back(
    tmp_path: Path, number: int, kind: Callable[[], BaseException]
) -> None:
    """MUST: after an interrupt or a failure both files are old or both new, it says which."""
    paths = set_up(tmp_path)
    try:
        replace_all(*items(paths), step=interrupting(number, kind))
    except (KeyboardInterrupt, WriteError, OSError) as error:
        told = str(error)
    complete = number > len(STEPS) - 4
    words = f"{paths[0]} holds the edit, {paths[1]} holds the edit"
    if STEPS[number - 1] != "done":
        words = f"the edit was complete: {words}" if complete else "both files are as they were"
    # The disk has failed nobody once all is done: no step of ours.
    if STEPS[number - 1] != "done" or kind is KeyboardInterrupt:
        assert told.endswith(words)
    assert state(paths) == ("new" if complete else "old")
    assert left_over(paths) == []


def test_what_fails_is_told_of_every_file_of_the_question(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The file that stays as it is counts: the words are about both, or about the only one."""
    paths = set_up(tmp_path)
    first, second = items(paths)
    failing_at(monkeypatch, 0)
    why = "not written (lx.toml: Device or resource busy)"
    with pytest.raises(WriteError) as caught:
        replace_all(first._replace(new=first.old), second)
    assert str(caught.value) == f"{why}: both files are as they were"
    with pytest.raises(WriteError) as caught:
        replace_all(second)
    assert str(caught.value) == f"{why}: nothing was changed"
    assert state(paths) == "old"
    assert left_over(paths) == []


def failing_at(monkeypatch: pytest.MonkeyPatch, allowed: int, *, exchange: bool = True) -> None:
    """Let the system refuse every replacement after the first few."""
    real = platform.Posix.replace if not exchange else platform.Posix.swap
    count = 0

    def act(self: platform.Posix, made: Path, target: Path) -> object:
        nonlocal count
        count += 1
        if count > allowed:
            raise OSError(16, "Device or resource busy", str(target))
        return real(self, made, target)

    if not exchange:
        monkeypatch.setattr(platform.Posix, "swap", lambda *_: False)
    monkeypatch.setattr(platform.Posix, "swap" if exchange else "replace", act)


@pytest.mark.parametrize("exchange", [True, False])
def test_a_second_replacement_that_fails_and_so_does_undoing_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, exchange: bool
) -> None:
    paths = set_up(tmp_path)
    failing_at(monkeypatch, 1, exchange=exchange)
    with pytest.raises(WriteError) as caught:
        replace_all(*items(paths))
    assert str(caught.value) == (
        f"not written (lx.toml: Device or resource busy): {paths[0]} holds the edit, "
        f"{paths[1]} is as it was; undoing it failed as well (sc1.toml: Device or resource busy); "
        f"the way on: safeframe edit recover {paths[0]} {paths[1]}"
    )
    monkeypatch.undo()
    assert recover(paths, how="undo").verdict == "undone"
    assert state(paths) == "old"
    assert left_over(paths) == []


def test_a_second_replacement_that_fails_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    paths = set_up(tmp_path)
    real = platform.Posix.swap

    def swap(self: platform.Posix, made: Path, target: Path) -> bool:
        if target.name == "lx.toml":
            raise OSError(16, "Device or resource busy", str(target))
        return real(self, made, target)

    monkeypatch.setattr(platform.Posix, "swap", swap)
    with pytest.raises(WriteError) as caught:
        replace_all(*items(paths))
    assert str(caught.value) == (
        "not written (lx.toml: Device or resource busy): both files are as they were"
    )
    assert state(paths) == "old"
    assert left_over(paths) == []


def test_a_write_between_the_failure_and_undoing_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    paths = set_up(tmp_path)
    real = platform.Posix.swap
    count = 0

    def swap(self: platform.Posix, made: Path, target: Path) -> bool:
        nonlocal count
        count += 1
        if count == 2:  # The second file cannot be replaced, so the first one is put back.
            raise OSError(16, "Device or resource busy", str(target))
        if count == 3:
            other = target.with_name("other")
            other.write_bytes(b"by another program\n")
            other.replace(target)
        return real(self, made, target)

    monkeypatch.setattr(platform.Posix, "swap", swap)
    with pytest.raises(WriteError) as caught:
        replace_all(*items(paths))
    told = str(caught.value)
    assert f"{paths[0]} holds the version of another program, {paths[1]} is as it was" in told
    assert f"undoing it failed as well ({paths[0]} must be as it was read, not changed" in told
    assert Path(paths[0]).read_bytes() == b"by another program\n"
    assert Path(paths[1]).read_bytes().decode() == OLD["lx.toml"]


def test_a_file_that_vanishes_before_the_look(tmp_path: Path) -> None:
    paths = set_up(tmp_path)

    def step(word: str) -> None:
        if word == "compare":
            Path(paths[0]).unlink(missing_ok=True)

    with pytest.raises(UsageError) as caught:
        replace_all(*items(paths), step=step)
    assert str(caught.value).endswith(f"{paths[0]} is missing, {paths[1]} is as it was")
    assert left_over(paths) == []


def test_a_file_that_becomes_another_one_while_it_is_opened(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path, other = tmp_path / "a.toml", tmp_path / "other"
    path.write_bytes(b"read")
    other.write_bytes(b"put there meanwhile")
    real = Path.lstat

    def lstat(self: Path) -> os.stat_result:
        found = real(self)
        other.replace(self)
        return found

    monkeypatch.setattr(Path, "lstat", lstat)
    with pytest.raises(ChangedError, match=r"^a\.toml must be as it was read, not changed since"):
        see(path)


def test_a_running_edit_is_told_before_its_note(tmp_path: Path) -> None:
    paths = broken_off(tmp_path)
    with hold([(path, Path(path)) for path in paths]), pytest.raises(UsageError) as caught:
        refuse_pending(paths)
    assert str(caught.value) == (
        f"{paths[0]} is being written by process {os.getpid()}; wait for it, then run again"
    )


def test_a_lock_that_cannot_be_opened_tells_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def open_lock(_self: platform.Posix, path: Path) -> int:
        raise PermissionError(13, "Permission denied", str(path))

    path = tmp_path / "a.toml"
    beside(path, "lock").touch()
    monkeypatch.setattr(platform.Posix, "open_lock", open_lock)
    assert holder(path) is None


def test_a_lock_without_a_number_has_an_unknown_holder(tmp_path: Path) -> None:
    path = tmp_path / "a.toml"
    with hold([("a.toml", path)]):
        assert holder(path) == os.getpid()
        beside(path, "lock").write_bytes(b"")
        assert holder(path) == 0
        with pytest.raises(UsageError, match=r"^a.toml is being written by another process; wait"):
            hold([("a.toml", path)]).__enter__()


def test_a_lock_that_becomes_a_link_is_none(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a.toml"
    real = platform.Posix.lock

    def lock(self: platform.Posix, descriptor: int) -> bool:
        beside(path, "lock").rename(tmp_path / "elsewhere")
        beside(path, "lock").symlink_to(tmp_path / "elsewhere")
        return real(self, descriptor)

    monkeypatch.setattr(platform.Posix, "lock", lock)
    with pytest.raises(UsageError, match=r"^a.toml cannot be locked"):
        hold([("a.toml", path)]).__enter__()


def test_a_lock_that_its_holder_removes_is_taken_anew(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a.toml"
    real = platform.Posix.lock
    locked: list[int] = []

    def lock(self: platform.Posix, descriptor: int) -> bool:
        if not locked:
            beside(path, "lock").unlink()
        locked.append(os.fstat(descriptor).st_ino)
        return real(self, descriptor)

    monkeypatch.setattr(platform.Posix, "lock", lock)
    with hold([("a.toml", path)]):
        assert len(locked) == 2
        assert beside(path, "lock").read_text("utf-8") == f"{os.getpid()}\n"


@pytest.fixture
def key() -> Iterator[None]:
    """Let the interrupt key do what it does at a terminal: in the background it does nothing."""
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    yield
    signal.signal(signal.SIGINT, before)


@pytest.mark.usefixtures("key")
@pytest.mark.parametrize("step", ["open_lock", "lock", "drop_lock"])
def test_an_interrupt_leaves_no_lock(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    """MUST: whatever a lock is in the midst of, it is whole or gone."""
    path = tmp_path / "a.toml"
    real = getattr(platform.Posix, step)

    def interrupted(*given: object) -> object:
        found = real(*given)
        signal.raise_signal(signal.SIGINT)
        return found

    monkeypatch.setattr(platform.Posix, step, interrupted)
    with pytest.raises(KeyboardInterrupt), hold([("a.toml", path), ("b", tmp_path / "b.toml")]):
        pass
    assert list(tmp_path.iterdir()) == []
    monkeypatch.undo()
    with hold([("a.toml", path)]):
        assert signal.getsignal(signal.SIGINT) is signal.default_int_handler


@pytest.mark.usefixtures("key")
def test_a_lock_beside_the_main_thread(tmp_path: Path) -> None:
    """Interrupts go elsewhere, and how they are taken is no business of other threads."""

    def held() -> bool:
        with hold([("a.toml", tmp_path / "a.toml")]):
            return signal.getsignal(signal.SIGINT) is signal.default_int_handler

    with ThreadPoolExecutor(1) as pool:
        assert pool.submit(held).result()


def test_mode_owner_and_links_survive(tmp_path: Path) -> None:
    paths = set_up(tmp_path)
    Path(paths[0]).chmod(0o640)
    owner = (1234, 1235) if os.geteuid() == 0 else (os.getuid(), os.getgid())
    os.chown(paths[0], *owner)
    link = tmp_path / "link.toml"
    link.symlink_to(paths[1])
    first, second = items(paths)
    replace_all(first, second._replace(path=str(link)))
    status = Path(paths[0]).stat()
    assert stat.S_IMODE(status.st_mode) == 0o640
    assert (status.st_uid, status.st_gid) == owner
    assert link.is_symlink()
    assert state(paths) == "new"


def test_a_file_that_stays_is_not_touched(tmp_path: Path) -> None:
    paths = set_up(tmp_path)
    before = Path(paths[0]).stat()
    first, second = items(paths)
    replace_all(first._replace(new=first.old), second)
    assert Path(paths[0]).stat().st_ino == before.st_ino
    assert Path(paths[1]).read_bytes().decode() == second.new
    assert left_over(paths) == []


def test_long_names(tmp_path: Path) -> None:
    path = tmp_path / ("ä" * 120)
    path.write_bytes(b"old")
    other = tmp_path / "other"
    other.write_bytes(b"old")
    pair = [Replacement(str(one), "old", "new") for one in (path, other)]
    with pytest.raises(KeyboardInterrupt):
        replace_all(*pair, step=interrupting(STEPS.index("compare") + 1, KeyboardInterrupt))
    assert path.read_bytes() == b"old"
    assert not pending(str(path))
    beside(path, "edit").touch()
    assert pending(str(path))


class TestRefusals:
    def refused(self, first: Replacement, second: Replacement) -> str:
        with pytest.raises(UsageError) as caught:
            replace_all(first, second)
        assert left_over([first.path, second.path]) == []
        return str(caught.value)

    def test_one_file_twice(self, tmp_path: Path) -> None:
        first, _ = items(set_up(tmp_path))
        assert self.refused(first, first) == f"two files must be replaced, not {first.path} twice"

    def test_changed_since(self, tmp_path: Path) -> None:
        first, second = items(set_up(tmp_path))
        Path(second.path).write_text("other", encoding="utf-8")
        assert self.refused(first, second) == (
            f"{second.path} must be as it was read, not changed since by another program, whose "
            "version stays (run it again)"
        )

    def test_hard_links(self, tmp_path: Path) -> None:
        first, second = items(set_up(tmp_path))
        (tmp_path / "again.toml").hardlink_to(first.path)
        assert self.refused(first, second) == (
            f"{first.path} must have one name only, not 2 (hard links): "
            "the others would keep the old text"
        )

    def test_read_only(self, tmp_path: Path) -> None:
        first, second = items(set_up(tmp_path))
        Path(first.path).chmod(0o444)
        assert self.refused(first, second) == f"{first.path} must be writable, not read-only"

    def test_no_file(self, tmp_path: Path) -> None:
        first, second = items(set_up(tmp_path))
        Path(first.path).unlink()
        Path(first.path).mkdir()
        assert self.refused(first, second) == f"{first.path} must be a regular file"

    @pytest.mark.parametrize("order", [1, -1])
    def test_another_edit_that_is_alive(self, tmp_path: Path, order: int) -> None:
        first, second = items(set_up(tmp_path))[::order]
        with (
            hold([("lx.toml", Path(tmp_path / "lx" / "lx.toml"))]),
            pytest.raises(UsageError) as caught,
        ):
            replace_all(first, second)
        path = tmp_path / "lx" / "lx.toml"
        assert str(caught.value) == (
            f"{path} is being written by process {os.getpid()}; wait for it, then run again"
        )

    def test_two_edits_in_both_orders_one_wins(self, tmp_path: Path) -> None:
        paths = set_up(tmp_path)
        told: list[str] = []

        def step(word: str) -> None:
            if word in ("compare", "rename") and not told:
                with pytest.raises(UsageError) as caught:
                    replace_all(*items(paths)[::-1])
                told.append(str(caught.value))
                assert f"by process {os.getpid()}" in notice(paths)
                with pytest.raises(UsageError, match="is being written"):
                    recover(paths)

        replace_all(*items(paths), step=step)
        assert "is being written" in told[0]
        assert state(paths) == "new"


def test_a_half_written_file_does_not_stay(tmp_path: Path) -> None:
    def step(name: str) -> None:
        if name.startswith("write the rest"):
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        write_new(tmp_path / "x", b"1234", None, step=step, what="text")
    assert list(tmp_path.iterdir()) == []


def test_a_half_written_file_that_somebody_removes_hides_no_interrupt(tmp_path: Path) -> None:
    def step(name: str) -> None:
        if name.startswith("write the rest"):
            (tmp_path / "x").unlink()
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        write_new(tmp_path / "x", b"1234", None, step=step, what="text")
