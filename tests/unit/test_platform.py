"""The platform layer: both branches by stand-ins, and nothing outside asks for the system."""

from __future__ import annotations

import ast
import errno
import os
import sys
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from safeframe._document import output, platform
from safeframe._document.lock import hold
from safeframe._document.platform import Posix, Windows
from safeframe._document.recover import recover
from safeframe._document.replace import replace_all
from safeframe._errors import UsageError
from tests.unit.written import ROOT, items, left_over, set_up, state

POSIX_ONLY = frozenset(
    [
        "fchmod",
        "fchown",
        "chown",
        "lchown",
        "geteuid",
        "getuid",
        "getgid",
        "getegid",
        "getgroups",
        "setsid",
        "fork",
        "forkpty",
        "mkfifo",
        "mknod",
        "link",
        "kill",
        "killpg",
        "nice",
        "umask",
        "sync",
        "uname",
        "getpgid",
        "setpgid",
        "tcgetpgrp",
        "openpty",
        "ttyname",
        "listxattr",
        "getxattr",
        "setxattr",
        "posix_fadvise",
        "sched_getaffinity",
        "getloadavg",
        "confstr",
        "sysconf",
        "O_DIRECTORY",
        "O_NOFOLLOW",
        "O_NONBLOCK",
        "O_NOCTTY",
        "O_CLOEXEC",
        "O_SYNC",
        "O_BINARY",
        "name",
    ]
)
MODULES = frozenset(
    [
        "fcntl",
        "pwd",
        "grp",
        "termios",
        "tty",
        "pty",
        "resource",
        "syslog",
        "posix",
        "msvcrt",
        "winreg",
        "winsound",
        "_winapi",
        "ctypes",
    ]
)
SIGNALS = frozenset(
    ["SIGKILL", "SIGHUP", "SIGALRM", "SIGUSR1", "SIGUSR2", "SIGPIPE", "SIGCHLD", "SIGSTOP"]
)


def asked(path: Path, text: str) -> list[str]:
    """Return where a source file asks for what only some systems have."""
    found = []
    for node in ast.walk(ast.parse(text)):
        words: list[str] = []
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
            owner, name = node.value.id, node.attr
            if (
                (owner == "os" and name in POSIX_ONLY)
                or (owner == "sys" and name in ("platform", "getwindowsversion"))
                or (owner == "signal" and name in SIGNALS)
            ):
                words = [f"{owner}.{name}"]
        elif isinstance(node, ast.Import):
            words = [one.name for one in node.names if one.name.split(".")[0] in MODULES]
        elif isinstance(node, ast.ImportFrom) and not node.level:
            inner = {one.name for one in node.names}
            if node.module in MODULES:
                words = [str(node.module)]
            elif node.module == "os":
                words = sorted(inner & POSIX_ONLY)
        found += [f"{path}:{getattr(node, 'lineno', 0)}: {word}" for word in words]
    return found


def test_only_the_platform_layer_asks_for_the_system() -> None:
    found = []
    for path in sorted((ROOT / "safeframe").rglob("*.py")):
        name = path.relative_to(ROOT)
        if name.as_posix() != "safeframe/_document/platform.py":
            found += asked(name, path.read_text("utf-8"))
    assert found == []


@pytest.mark.parametrize(
    "text",
    [
        *("import os\nos.fchmod(1, 2)", "import fcntl", "from fcntl import flock"),
        *("x = os.O_DIRECTORY", "from os import geteuid", "if sys.platform == 'win32': pass"),
        *("os.name", "os.link(a, b)", "import ctypes.util", "signal.SIGKILL"),
        "def f():\n    import msvcrt",
    ],
)
def test_the_reader_sees_each_way_to_ask(text: str) -> None:
    assert len(asked(Path("x.py"), text)) == 1


def test_the_reader_leaves_the_rest_alone() -> None:
    text = (
        "import os\nos.fsync(1); os.open(a, os.O_RDONLY); getattr(os, 'O_NOFOLLOW', 0); link.name"
    )
    assert asked(Path("x.py"), text) == []


class Msvcrt:
    """The locks of the other system, for one process."""

    LK_NBLCK = 2

    def __init__(self, code: int = errno.EACCES) -> None:
        self.taken: set[tuple[int, int]] = set()
        self.code = code

    def locking(self, descriptor: int, mode: int, size: int) -> None:
        assert (mode, size) == (self.LK_NBLCK, 1)
        assert os.lseek(descriptor, 0, os.SEEK_CUR) == 1 << 30
        status = os.fstat(descriptor)
        key = (status.st_dev, status.st_ino)
        if key in self.taken:
            raise OSError(self.code, "locked")
        self.taken.add(key)


class FakeWindows(Windows):
    """Windows with locks that go with their descriptors."""

    def __init__(self, module: Msvcrt | None = None) -> None:
        self.module = module or Msvcrt()
        self.pauses: list[float] = []
        super().__init__(modules=lambda _: self.module, sleep=self.pauses.append)

    def drop_lock(self, path: Path, descriptor: int) -> None:
        status = os.fstat(descriptor)
        self.module.taken.discard((status.st_dev, status.st_ino))
        super().drop_lock(path, descriptor)

    def create(self, made: Path, target: Path) -> None:
        if target.exists():  # As rename does there, unlike here.
            raise FileExistsError(errno.EEXIST, "exists", str(target))
        super().create(made, target)


@pytest.fixture
def windows(monkeypatch: pytest.MonkeyPatch) -> FakeWindows:
    made = FakeWindows()
    monkeypatch.setattr(platform, "SYSTEM", made)
    return made


class TestWindows:
    def test_both_files_are_replaced(self, windows: FakeWindows, tmp_path: Path) -> None:
        paths = set_up(tmp_path)
        replace_all(*items(paths))
        assert state(paths) == "new"
        assert left_over(paths) == []

    def test_a_second_edit_is_refused(self, windows: FakeWindows, tmp_path: Path) -> None:
        paths = set_up(tmp_path)
        with (
            hold([("lx.toml", Path(paths[1]))]),
            pytest.raises(UsageError, match=rf"is being written by process {os.getpid()}; wait"),
        ):
            replace_all(*items(paths))
        assert state(paths) == "old"

    def test_locks_that_are_not_there(
        self, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
    ) -> None:
        module = Msvcrt(errno.EIO)
        monkeypatch.setattr(platform, "SYSTEM", FakeWindows(module))
        paths = set_up(tmp_path)
        with (
            hold([("lx.toml", Path(paths[1]))]),
            pytest.raises(UsageError, match=r"cannot be locked on this file system \(locked\)"),
        ):
            replace_all(*items(paths))

    def test_an_edit_is_broken_off_and_undone(self, windows: FakeWindows, tmp_path: Path) -> None:
        paths = set_up(tmp_path)
        real = windows.replace

        def replace(made: Path, target: Path) -> None:
            if target.name == "lx.toml" or made.name.endswith("-note"):
                raise OSError(errno.EIO, "Input/output error", str(target))
            real(made, target)

        windows.replace = replace  # type: ignore[method-assign]
        with pytest.raises(Exception, match="undoing it failed as well"):
            replace_all(*items(paths))
        assert state(paths) == "mixed"
        windows.replace = real  # type: ignore[method-assign]
        assert recover(paths, how="undo").verdict == "undone"
        assert state(paths) == "old"
        assert left_over(paths) == []

    def test_a_file_that_is_open_elsewhere_is_waited_for(self) -> None:
        windows = FakeWindows()
        failures = [PermissionError(13, "in use")] * 3
        calls: list[str] = []

        def act(name: str) -> Callable[[object], None]:
            def call(_: object) -> None:
                calls.append(name)
                if failures:
                    raise failures.pop()

            return call

        made: Any = SimpleNamespace(replace=act("replace"), rename=act("rename"))
        windows.replace(made, Path("a"))
        assert windows.pauses == [0.01, 0.03, 0.06]
        Windows.create(windows, made, Path("a"))
        assert calls == ["replace"] * 4 + ["rename"]
        failures += [PermissionError(13, "in use")] * 8
        with pytest.raises(PermissionError):
            windows.replace(made, Path("a"))
        assert sum(windows.pauses) == pytest.approx(1.1)

    @pytest.mark.parametrize(
        ("name", "reason"),
        [
            ("NUL", "is the name of a device"),
            ("nul.html", "is the name of a device"),
            ("Con .txt", "is the name of a device"),
            ("COM1", "is the name of a device"),
            ("lpt9.svg", "is the name of a device"),
            ("COM¹", "is the name of a device"),
            ("CONIN$", "is the name of a device"),
            ("report.", "ends with a dot or a blank, which gets lost"),
            ("report ", "ends with a dot or a blank, which gets lost"),
            ("a:b", "must not hold ':'"),
            ("a?.html", "must not hold '?'"),
            ("a\x1f", "must not hold '\\x1f'"),
            ("report.html", ""),
            ("console", ""),
            ("com10", ""),
            ("nullable.html", ""),
        ],
    )
    def test_names(self, windows: FakeWindows, tmp_path: Path, name: str, reason: str) -> None:
        assert windows.refused_name(Path(name)) == reason
        assert Posix().refused_name(Path(name)) == ""
        if reason:
            kind = output.OutputKind("list", (b"#",), b"#")
            with pytest.raises(UsageError, match="--list must name a file, not"):
                output.claim([("--list", str(tmp_path / name), kind)], {}, force=True)

    def test_long_paths(self) -> None:
        long = "x" * 250
        assert str(Windows().path(Path("C:\\maps\\a.toml"))) == "C:\\maps\\a.toml"
        assert str(Windows().path(Path(f"C:\\{long}"))) == f"\\\\?\\C:\\{long}"
        assert str(Windows().path(Path(f"\\\\host\\{long}"))) == f"\\\\?\\UNC\\host\\{long}"
        assert str(Windows().path(Path(f"\\\\?\\C:\\{long}"))) == f"\\\\?\\C:\\{long}"

    def test_outputs(self, windows: FakeWindows, tmp_path: Path) -> None:
        kind = output.OutputKind("list", (b"#",), b"# list")
        for octets in (b"# list 1", b"# list 2"):
            (made,) = output.claim(
                [("--list", str(tmp_path / "a"), kind)], {}, force=False
            ).values()
            output.write(made, octets)
        assert (tmp_path / "a").read_bytes() == b"# list 2"
        assert [path.name for path in tmp_path.iterdir()] == ["a"]


class Library:
    """A C library in which calls end with an error number, or are not there."""

    def __init__(self, code: int) -> None:
        self.code = code
        self.calls: list[tuple[object, ...]] = []

    def call(self, *words: object) -> int:
        self.calls.append(words)
        return -1 if self.code else 0

    renameat2 = renamex_np = call


def posix(library: object, code: int = 0) -> Posix:
    module = SimpleNamespace(CDLL=lambda *_, **__: library, get_errno=lambda: code)
    return Posix(modules=lambda _: module)


class TestPosix:
    def test_an_exchange_that_the_system_does_not_know(self) -> None:
        for code in (errno.ENOSYS, errno.EINVAL, errno.EOPNOTSUPP):
            assert posix(Library(code), code).swap(Path("a"), Path("b")) is False
        assert posix(object()).swap(Path("a"), Path("b")) is False

        def none(_: str) -> Any:
            raise ImportError

        assert Posix(modules=none).swap(Path("a"), Path("b")) is False

    def test_an_exchange_that_fails(self) -> None:
        with pytest.raises(OSError, match="b") as caught:
            posix(Library(errno.EBUSY), errno.EBUSY).swap(Path("a"), Path("b"))
        assert caught.value.errno == errno.EBUSY

    @pytest.mark.parametrize(
        ("system", "call"),
        [("linux", (-100, b"a", -100, b"b", 2)), ("darwin", (b"a", b"b", 2))],
    )
    def test_the_calls(
        self, monkeypatch: pytest.MonkeyPatch, system: str, call: tuple[object, ...]
    ) -> None:
        library = Library(0)
        made = posix(library)
        monkeypatch.setattr(sys, "platform", system)
        assert made.swap(Path("a"), Path("b")) is True
        assert library.calls == [call]

    @pytest.mark.skipif(sys.platform != "linux", reason="the exchange of this system")
    def test_the_exchange_of_this_system(self, tmp_path: Path) -> None:
        (tmp_path / "a").write_text("a")
        (tmp_path / "b").write_text("b")
        assert Posix().swap(tmp_path / "a", tmp_path / "b")
        assert ((tmp_path / "a").read_text(), (tmp_path / "b").read_text()) == ("b", "a")
        with pytest.raises(FileNotFoundError):
            Posix().swap(tmp_path / "a", tmp_path / "none")

    def test_locks_that_are_not_there(
        self, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
    ) -> None:
        def flock(*_: object) -> None:
            raise OSError(errno.ENOLCK, "No locks available")

        module = SimpleNamespace(flock=flock, LOCK_EX=2, LOCK_NB=4)
        monkeypatch.setattr(platform, "SYSTEM", Posix(modules=lambda _: module))
        paths = set_up(tmp_path)
        with pytest.raises(UsageError, match=r"cannot be locked on this file system \(No locks"):
            replace_all(*items(paths))
        assert state(paths) == "old"

    def test_folders_that_cannot_be_opened_or_flushed(
        self, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
    ) -> None:
        real = os.open

        def opened(path: Any, flags: int, *mode: int) -> int:
            if flags & os.O_DIRECTORY:
                raise PermissionError
            return real(path, flags, *mode)

        with monkeypatch.context() as patch:
            patch.setattr(os, "open", opened)
            paths = set_up(tmp_path / "a")
            replace_all(*items(paths))
            assert state(paths) == "new"

        def fsync(_: int) -> None:
            raise OSError(errno.EINVAL, "Invalid argument")

        monkeypatch.setattr(os, "fsync", fsync)
        Posix().flush_folder(tmp_path)

    def test_an_owner_that_cannot_be_kept(
        self, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
    ) -> None:
        paths = set_up(tmp_path)

        def fchown(*_: object) -> None:
            raise PermissionError

        status = Path(paths[0]).stat()
        other = os.stat_result([*status[:4], status.st_uid + 1, *status[5:]])
        monkeypatch.setattr(os, "fchown", fchown)
        with open(paths[0], "rb") as file, pytest.raises(UsageError) as caught:
            Posix().keep_rights(file.fileno(), Path(paths[0]), other)
        assert str(caught.value) == (
            "the owner and the group of sc1.toml must be kept, which only its owner or an "
            "administrator can do"
        )

    def test_attributes_are_kept_where_there_are_any(
        self, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
    ) -> None:
        given: dict[str, bytes] = {"user.a": b"1", "user.b": b"2"}
        copied: dict[str, bytes] = {}

        def setxattr(_: int, name: str, value: bytes) -> None:
            if name == "user.b":
                raise OSError(errno.ENOTSUP, "not supported")
            copied[name] = value

        monkeypatch.setattr(os, "listxattr", lambda _: list(given), raising=False)
        monkeypatch.setattr(os, "getxattr", lambda _, name: given[name], raising=False)
        monkeypatch.setattr(os, "setxattr", setxattr, raising=False)
        paths = set_up(tmp_path)
        replace_all(*items(paths))
        assert copied == {"user.a": b"1"}
        monkeypatch.delattr(os, "listxattr")
        paths = set_up(tmp_path / "again")
        replace_all(*items(paths))
        assert state(paths) == "new"

    def test_new_names_where_there_are_no_links(
        self, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
    ) -> None:
        code = errno.EPERM

        def hardlink_to(*_: object) -> None:
            raise OSError(code, "Operation not permitted")

        monkeypatch.setattr(Path, "hardlink_to", hardlink_to)
        for name in ("a", "b"):
            (tmp_path / "made").write_text(name)
            Posix().create(tmp_path / "made", tmp_path / name)
            assert (tmp_path / name).read_text() == name
        (tmp_path / "made").write_text("c")
        with pytest.raises(FileExistsError):
            Posix().create(tmp_path / "made", tmp_path / "a")
        code = errno.EIO
        with pytest.raises(OSError, match="Operation not permitted"):
            Posix().create(tmp_path / "made", tmp_path / "c")
