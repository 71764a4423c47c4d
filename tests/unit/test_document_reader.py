"""Opening and decoding: regular files of a bounded size and nothing else, never waiting."""

from __future__ import annotations

import io
import os
import signal
import socket
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from safeframe import _baseline, protocols, record
from safeframe import _mapfile as mapfile
from safeframe import cases as case_files
from safeframe._document import reader
from safeframe._document.reader import decode, open_stream, read_octets, read_stream, read_text
from safeframe._errors import InputError
from safeframe._plant import file as plantfile

READERS: dict[str, tuple[str, Callable[[str], object]]] = {
    "map.toml": ("map file", mapfile.load),
    "map.csv": ("map file", mapfile.load),
    "plant.toml": ("plant file", plantfile.load),
    "profile.toml": ("profile", protocols.load_file),
    "record.json": ("record", record.load),
    "baseline.json": ("baseline", _baseline.load),
    "cases.json": ("file of cases", case_files.load),
}
"""Every file that people or builds write, with the function that reads it."""

every_reader = pytest.mark.parametrize("name", READERS)


@pytest.fixture(autouse=True)
def _no_waiting(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """A reader that waits is stopped after some seconds."""
    monkeypatch.chdir(tmp_path)
    signal.alarm(20)
    yield
    signal.alarm(0)


def refusal(name: str) -> str:
    what, load = READERS[name]
    with pytest.raises(InputError) as caught:
        load(name)
    (problem,) = caught.value.problems
    return str(problem).replace(f"a {what}", "a WHAT")


class TestWhatIsNoFile:
    """MUST: whatever a name leads to, each reader refuses it at once in the same words."""

    @every_reader
    def test_nothing(self, name: str) -> None:
        assert refusal(name) == f"{name}: the file must be readable: No such file or directory"

    @every_reader
    def test_link_to_nothing(self, name: str) -> None:
        Path(name).symlink_to("gone")
        assert refusal(name) == f"{name}: the file must be readable: No such file or directory"

    @every_reader
    def test_links_in_a_circle(self, name: str) -> None:
        Path(name).symlink_to("other")
        Path("other").symlink_to(name)
        assert (
            refusal(name) == f"{name}: the file must be readable: Too many levels of symbolic links"
        )

    @every_reader
    def test_directory(self, name: str) -> None:
        Path(name).mkdir()
        assert refusal(name) == f"{name}: the path must lead to a WHAT, not to a directory"

    @every_reader
    def test_pipe(self, name: str) -> None:
        os.mkfifo(name)
        assert refusal(name) == f"{name}: the path must lead to a WHAT, not to a pipe"

    @every_reader
    def test_socket(self, name: str) -> None:
        with socket.socket(socket.AF_UNIX) as opened:
            opened.bind(name)
            assert refusal(name) == f"{name}: the path must lead to a WHAT, not to a socket"

    @every_reader
    @pytest.mark.parametrize("device", ["/dev/zero", "/dev/null", "/dev/tty"])
    def test_device(self, name: str, device: str) -> None:
        Path(name).symlink_to(device)
        assert refusal(name) == f"{name}: the path must lead to a WHAT, not to a device"

    @every_reader
    def test_standard_input_by_name(self, name: str) -> None:
        reading, writing = os.pipe()
        try:
            Path(name).symlink_to(f"/dev/fd/{reading}")
            assert refusal(name) == f"{name}: the path must lead to a WHAT, not to a pipe"
        finally:
            os.close(reading)
            os.close(writing)

    @every_reader
    def test_too_large(self, name: str) -> None:
        with open(name, "wb") as file:
            file.truncate(1 << 36)
        assert refusal(name).startswith(f"{name}: a WHAT must be at most ")
        assert refusal(name).endswith(" octets, not 68719476736")

    @every_reader
    def test_octets_that_are_no_text(self, name: str) -> None:
        Path(name).write_bytes(b"\n\n\xff")
        assert refusal(name) == (
            f"{name}:3: a WHAT must be UTF-8 text, not octet 0xff at offset 2 (save it as UTF-8)"
        )
        Path(name).write_bytes(b"\n\0")
        assert refusal(name) == f"{name}:2: a WHAT must be text, not octet 0x00 at offset 1"

    def test_permission_denied(self, monkeypatch: pytest.MonkeyPatch) -> None:
        Path("map.toml").write_text("x = 1")

        def refuse(*_: object) -> int:
            raise PermissionError(13, "Permission denied")

        monkeypatch.setattr(os, "open", refuse)  # The owner of the tests may read everything.
        assert refusal("map.toml") == "map.toml: the file must be readable: Permission denied"

    def test_a_recording_is_a_file_or_a_pipe(self, monkeypatch: pytest.MonkeyPatch) -> None:
        def told(path: str) -> str:
            with pytest.raises(InputError) as found:
                open_stream(path, what="recording").close()
            return str(found.value)

        assert told(".") == ".: the path must lead to a recording, not to a directory"
        assert told("/dev/zero") == "/dev/zero: the path must lead to a recording, not to a device"
        assert told("none") == "none: the file must be readable: No such file or directory"
        assert told("a\0b") == "a\0b: the file must be readable: the path has no meaning"
        os.mkfifo("pipe")
        writing = os.open("pipe", os.O_RDWR)  # A writer that is there already.
        try:
            os.write(writing, b"36\n")
            with open_stream("pipe", what="recording") as stream:
                assert stream.read(3) == b"36\n"
        finally:
            os.close(writing)
        Path("run.hex").write_bytes(b"36\n")
        with open_stream("run.hex", what="recording") as stream:
            assert stream.read() == b"36\n"
        # What gets the name between the look and the opening is looked at again.
        regular = Path("run.hex").stat()
        monkeypatch.setattr(os, "stat", lambda *_: regular)
        assert told("/dev/zero") == (
            "/dev/zero: the file must not change while it is read (read it again)"
        )

    def test_a_name_that_leads_to_something_else_by_the_time_it_is_opened(
        self, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        Path("map.toml").write_text("x = 1")
        regular = Path("map.toml").stat()
        os.mkfifo("pipe")
        Path("pipe").replace("map.toml")
        monkeypatch.setattr(os, "stat", lambda *_: regular)
        assert refusal("map.toml") == "map.toml: the path must lead to a WHAT, not to a pipe"

    def test_a_file_that_vanishes_before_it_is_opened(
        self, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        Path("map.toml").write_text("x = 1")
        regular = Path("map.toml").stat()
        Path("map.toml").unlink()
        monkeypatch.setattr(os, "stat", lambda *_: regular)
        assert refusal("map.toml") == (
            "map.toml: the file must be readable: No such file or directory"
        )


class TestGrowingFiles:
    def test_one_that_grows_while_it_is_read_is_refused(
        self, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        Path("a").write_bytes(b"x = 1\n")
        inner = reader._read

        def slowly(file: io.RawIOBase, limit: int) -> bytes:
            octets = inner(file, limit)  # type: ignore[arg-type]
            with open("a", "ab") as other:
                other.write(b"y = 2\n")
            return octets

        monkeypatch.setattr(reader, "_read", slowly)
        with pytest.raises(InputError, match=r"a: the file must not change while it is read"):
            read_octets("a")

    def test_one_that_never_stops_growing_is_read_up_to_its_limit(self) -> None:
        stop = threading.Event()

        def grow() -> None:
            with open("a", "ab", buffering=0) as file:
                while not stop.is_set() and file.tell() < 1 << 24:
                    file.write(b"x" * 4096)

        Path("a").touch()
        other = threading.Thread(target=grow)
        other.start()
        try:
            time.sleep(0.05)
            with pytest.raises(InputError, match="at most 1000 octets"):
                read_octets("a", limit=1000)
        finally:
            stop.set()
            other.join()

    def test_a_file_without_a_stated_size_is_read_whole(self) -> None:
        # Files below /proc say 0 octets.
        assert read_octets("/proc/self/status").startswith(b"Name:")


class TestText:
    def test_line_ends_and_byte_order_mark_stay(self) -> None:
        Path("a").write_bytes(b"\xef\xbb\xbfa\r\n\xc3\xa9")
        assert read_text("a") == "\ufeffa\r\né"
        assert read_text(Path("a")) == "\ufeffa\r\né"

    @pytest.mark.parametrize("encoding", ["utf-16-le", "utf-16-be", "utf-32-le", "utf-32-be"])
    def test_other_encodings_by_their_mark(self, encoding: str) -> None:
        name = encoding[:6].upper()
        with pytest.raises(InputError) as caught:
            decode("\ufeffa".encode(encoding), path="a", what="map")
        assert str(caught.value) == f"a: a map must be UTF-8 text, not {name} (save it as UTF-8)"

    def test_just_at_the_limit(self) -> None:
        Path("a").write_bytes(b"x" * 100)
        assert read_octets("a", limit=100) == b"x" * 100
        with pytest.raises(InputError, match="a: a map file must be at most 99 octets, not 100"):
            read_octets("a", limit=99)


class TestStandardInput:
    def test_text(self) -> None:
        assert read_stream(io.BytesIO(b"a = 1\n"), path="<stdin>") == "a = 1\n"

    def test_no_more_than_the_limit_is_taken(self) -> None:
        stream = io.BytesIO(b"x" * 5000)
        with pytest.raises(InputError, match=r"<stdin>: a map must be at most 99 octets, not more"):
            read_stream(stream, path="<stdin>", limit=99)
        assert stream.tell() == 100

    def test_a_device_that_never_ends(self) -> None:
        with (
            open("/dev/zero", "rb", buffering=0) as stream,
            pytest.raises(InputError, match="at most 1048576 octets, not more"),
        ):
            read_stream(stream, path="<stdin>")

    def test_a_closed_one(self) -> None:
        stream = io.BytesIO()
        stream.close()
        with pytest.raises(InputError, match="<stdin>: the file must be readable: it is closed"):
            read_stream(stream, path="<stdin>")

    def test_a_directory(self) -> None:
        class Directory(io.RawIOBase):
            def read(self, _size: int = -1) -> bytes:
                raise IsADirectoryError(21, "Is a directory")

        with pytest.raises(InputError, match="<stdin>: the file must be readable: Is a directory"):
            read_stream(Directory(), path="<stdin>")  # type: ignore[arg-type]
