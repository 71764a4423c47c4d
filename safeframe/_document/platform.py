"""What differs between operating systems, in one place: nothing else may ask which one it is.

``SYSTEM`` is the one that runs; tests build the other with stand-ins for its modules.
"""

from __future__ import annotations

import errno
import importlib
import os
import stat
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

from .._errors import UsageError

_NO_EXCHANGE = {errno.ENOSYS, errno.EINVAL, errno.ENOTSUP, errno.EOPNOTSUPP, errno.ENOTTY}
_NO_LINKS = {errno.EPERM, errno.ENOSYS, errno.ENOTSUP, errno.EOPNOTSUPP, errno.EMLINK}
_BUSY = {errno.EWOULDBLOCK, errno.EAGAIN, errno.EACCES, errno.EDEADLK}


class Posix:
    """Linux, macOS and their relatives."""

    def __init__(self, *, modules: Callable[[str], Any] = importlib.import_module) -> None:
        self._modules = modules

    def open_new(self, path: Path, mode: int = 0o600) -> int:
        """Create a file that must not exist, not even as a link, and open it for writing."""
        flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_NOFOLLOW
        return os.open(path, flags, mode)

    def open_lock(self, path: Path) -> int:
        """Open or create a lock file; never follows a link, never waits for a pipe."""
        flags = os.O_RDWR | os.O_CREAT | os.O_NOFOLLOW | os.O_NONBLOCK
        return os.open(path, flags, 0o666)

    def lock(self, descriptor: int) -> bool:
        """Lock an open file until it is closed or the process ends; False if somebody else has."""
        module = self._modules("fcntl")
        try:
            module.flock(descriptor, module.LOCK_EX | module.LOCK_NB)
        except OSError as error:
            if error.errno in _BUSY:
                return False
            raise
        return True

    def drop_lock(self, path: Path, descriptor: int) -> None:
        """Remove a lock file that this process holds, then let it go."""
        # In this order: whoever locks the file after it was removed sees that it has no name.
        with suppress(OSError):
            path.unlink()
        os.close(descriptor)

    def flush_folder(self, folder: Path) -> None:
        """Bring the names of a folder to the disk."""
        try:
            descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
        except PermissionError:
            return  # A folder may be searched and written without being readable.
        try:
            with suppress(OSError):  # Some file systems flush no folders.
                os.fsync(descriptor)
        finally:
            os.close(descriptor)

    def keep_rights(self, descriptor: int, target: Path, status: os.stat_result) -> None:
        """Give an open new file the owner, the mode and the attributes of the file it replaces.

        Raises UsageError where the owner cannot be kept.
        """
        made = os.fstat(descriptor)
        if (made.st_uid, made.st_gid) != (status.st_uid, status.st_gid):
            try:
                os.fchown(descriptor, status.st_uid, status.st_gid)
            except PermissionError:
                raise UsageError(
                    f"the owner and the group of {target.name} must be kept, which only its owner "
                    "or an administrator can do"
                ) from None
        # Lists of rights are attributes. What a file system does not know is not copied.
        with suppress(OSError, AttributeError):
            for name in os.listxattr(target):
                with suppress(OSError):
                    os.setxattr(descriptor, name, os.getxattr(target, name))
        os.fchmod(descriptor, stat.S_IMODE(status.st_mode))

    def swap(self, first: Path, second: Path) -> bool:
        """Exchange two files in one instant; return False where the system cannot."""
        names = os.fsencode(first), os.fsencode(second)
        try:
            ctypes = self._modules("ctypes")
            library = ctypes.CDLL(None, use_errno=True)
            # linux/fs.h: RENAME_EXCHANGE is 2, fcntl.h: AT_FDCWD is -100; sys/stdio.h of macOS:
            # RENAME_SWAP is 2. All from memory; a wrong number fails and is answered by False.
            if sys.platform == "darwin":
                failed = library.renamex_np(*names, 2)
            else:
                failed = library.renameat2(-100, names[0], -100, names[1], 2)
        except (ImportError, AttributeError, OSError):
            return False
        if not failed:
            return True
        code = ctypes.get_errno()
        if code in _NO_EXCHANGE:
            return False
        raise OSError(code, os.strerror(code), str(second))

    def replace(self, made: Path, target: Path) -> None:
        """Put a file in the place of another one."""
        made.replace(target)

    def create(self, made: Path, target: Path) -> None:
        """Give a file a name that must be free; raises FileExistsError otherwise."""
        try:
            target.hardlink_to(made)
        except OSError as error:
            if error.errno not in _NO_LINKS:
                raise
            # No links here: take the name first, then put the file there.
            os.close(self.open_new(target))
            self.replace(made, target)
        else:
            made.unlink()

    def refused_name(self, path: Path) -> str:
        """Return why a file cannot have this name, empty if it can."""
        return ""

    def path(self, path: Path) -> Path:
        """Return the path to hand to the system."""
        return path


_DEVICES = frozenset(f"{name}{digit}" for name in ("com", "lpt") for digit in "123456789¹²³") | {
    "con",
    "prn",
    "aux",
    "nul",
    "conin$",
    "conout$",
}
"""Names of devices in every folder, with any ending (Naming Files, Paths, and Namespaces; from
memory)."""
_FORBIDDEN = frozenset('<>:"|?*')
_LONGEST = 240
"""Longer paths need a prefix; the limit is 260 with the drive and the end (from memory)."""


class Windows:
    """Windows: no folder is flushed, open files cannot be replaced, some names are devices."""

    def __init__(
        self,
        *,
        modules: Callable[[str], Any] = importlib.import_module,
        sleep: Callable[[float], None] = time.sleep,
    ) -> None:
        self._modules = modules
        self._sleep = sleep

    def open_new(self, path: Path, mode: int = 0o600) -> int:
        """Create a file that must not exist and open it for writing, octets as they are."""
        flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
        return os.open(path, flags, mode)

    def open_lock(self, path: Path) -> int:
        """Open or create a lock file."""
        return os.open(path, os.O_RDWR | os.O_CREAT | getattr(os, "O_BINARY", 0), 0o666)

    def lock(self, descriptor: int) -> bool:
        """Lock an open file until it is closed or the process ends; False if somebody else has."""
        module = self._modules("msvcrt")
        # Behind the end of the file: the process number in it stays readable for others.
        os.lseek(descriptor, 1 << 30, os.SEEK_SET)
        try:
            module.locking(descriptor, module.LK_NBLCK, 1)
        except OSError as error:
            if error.errno in _BUSY:
                return False
            raise
        return True

    def drop_lock(self, path: Path, descriptor: int) -> None:
        """Let a lock go, then remove its file."""
        # An open file cannot be removed here. If somebody else has it by now, it stays.
        os.close(descriptor)
        with suppress(OSError):
            path.unlink()

    def flush_folder(self, folder: Path) -> None:
        """Do nothing: the system has no such call, the file system keeps a journal of names."""

    def keep_rights(self, descriptor: int, target: Path, status: os.stat_result) -> None:
        """Do nothing: a new file inherits the rights of its folder, read-only ones are refused."""

    def swap(self, first: Path, second: Path) -> bool:
        """Return False: there is no call that exchanges two files."""
        return False

    def replace(self, made: Path, target: Path) -> None:
        """Put a file in the place of another one; waits up to a second for who has it open."""
        self._patiently(lambda: made.replace(target))

    def create(self, made: Path, target: Path) -> None:
        """Give a file a name that must be free; raises FileExistsError otherwise."""
        self._patiently(lambda: made.rename(target))  # Refuses to replace, other than elsewhere.

    def _patiently(self, act: Callable[[], object]) -> None:
        for pause_s in (0.01, 0.03, 0.06, 0.1, 0.2, 0.3, 0.3):
            try:
                act()
            except PermissionError:  # Virus scanners and indexers open what is new for a moment.
                self._sleep(pause_s)
            else:
                return
        act()

    def refused_name(self, path: Path) -> str:
        """Return why a file cannot have this name, empty if it can."""
        name = path.name
        if name.split(".")[0].rstrip(" ").casefold() in _DEVICES:
            return "is the name of a device"
        if name.endswith((".", " ")):
            return "ends with a dot or a blank, which gets lost"
        wrong = sorted(c for c in name if c in _FORBIDDEN or c < " ")
        return f"must not hold {wrong[0]!r}" if wrong else ""

    def path(self, path: Path) -> Path:
        r"""Return the path to hand to the system: with ``\\?\`` where it is long."""
        text = str(path)
        if len(text) < _LONGEST or text.startswith("\\\\?\\"):
            return path
        if text.startswith("\\\\"):
            return Path(f"\\\\?\\UNC\\{text[2:]}")
        return Path(f"\\\\?\\{text}")


System = Posix | Windows

NAME = sys.platform
"""The system in one word, for what is only a name that differs, such as that of a folder."""

SYSTEM: System = Windows() if os.name == "nt" else Posix()
