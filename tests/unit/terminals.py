"""A program in a pseudo-terminal, and what its screen shows."""

from __future__ import annotations

import fcntl
import os
import pty
import select
import signal
import struct
import subprocess
import sys
import termios
import time
from collections.abc import Callable, Sequence
from pathlib import Path

import pyte

__all__ = ["Terminal"]


class Terminal:
    """``python -m safeframe`` with a terminal of its own; standard input is a pipe."""

    def __init__(self, arguments: Sequence[str], *, columns: int, rows: int, folder: Path) -> None:
        self.screen = pyte.Screen(columns, rows)
        self._stream = pyte.ByteStream(self.screen)
        self._master, slave = pty.openpty()
        self._size(slave, columns, rows)
        environment = {**os.environ, "TERM": "xterm-256color"}
        self.process = subprocess.Popen(
            [sys.executable, "-m", "safeframe", *arguments],
            stdin=subprocess.PIPE,
            stdout=slave,
            stderr=slave,
            cwd=folder,
            env=environment,
            start_new_session=True,
            preexec_fn=lambda: fcntl.ioctl(1, termios.TIOCSCTTY, 0),
        )
        os.close(slave)
        self.octets = b""

    def write(self, octets: bytes) -> None:
        """Write to the standard input of the program."""
        assert self.process.stdin is not None
        self.process.stdin.write(octets)
        self.process.stdin.flush()

    def close_input(self) -> None:
        """Let the writer leave."""
        assert self.process.stdin is not None
        self.process.stdin.close()

    def keys(self, keys: str) -> None:
        """Press keys."""
        os.write(self._master, keys.encode())

    def resize(self, columns: int, rows: int) -> None:
        """Change the size of the window."""
        self._size(self._master, columns, rows)
        self.screen.resize(rows, columns)
        self.process.send_signal(signal.SIGWINCH)

    def until(self, seen: Callable[[str], bool], timeout_s: float = 30) -> str:
        """Return the screen as soon as it shows something; AssertionError where it never does."""
        end = time.monotonic() + timeout_s
        while time.monotonic() < end:
            self._read(0.05)
            if seen(self.text()):
                return self.text()
        raise AssertionError(f"never seen on the screen:\n{self.text()}")

    def wait(self, timeout_s: float = 30) -> int:
        """Read to the end and return the exit code."""
        end = time.monotonic() + timeout_s
        while self.process.poll() is None and time.monotonic() < end:
            self._read(0.05)
        self._read(0.05)
        code = self.process.wait(timeout=1)
        os.close(self._master)
        return code

    def text(self) -> str:
        """Return what the screen shows."""
        return "\n".join(line.rstrip() for line in self.screen.display)

    def _read(self, timeout_s: float) -> None:
        while select.select([self._master], [], [], timeout_s)[0]:
            try:
                octets = os.read(self._master, 1 << 16)
            except OSError:  # The program has closed the terminal.
                return
            if not octets:
                return
            self.octets += octets
            self._stream.feed(octets)
            timeout_s = 0

    @staticmethod
    def _size(descriptor: int, columns: int, rows: int) -> None:
        fcntl.ioctl(descriptor, termios.TIOCSWINSZ, struct.pack("HHHH", rows, columns, 0, 0))
