"""The octets of a device file, read once, with their digest."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from functools import cached_property

from .._document.reader import read_octets
from .._errors import InputError, Problem

MAX_SOURCE_OCTETS = 64 << 20
"""Largest device file that is read; ESI files of several MiB are ordinary."""


@dataclass(frozen=True)
class DeviceFile:
    """A device file as it was read: ``path`` as typed, all of its octets."""

    path: str
    octets: bytes

    @property
    def name(self) -> str:
        """The name of the file without its folder."""
        return self.path.replace("\\", "/").rpartition("/")[2]

    @cached_property
    def sha256(self) -> str:
        """The SHA-256 of the octets, 64 hexadecimal digits."""
        return hashlib.sha256(self.octets).hexdigest()


def read_source(path: str, *, limit: int = MAX_SOURCE_OCTETS) -> DeviceFile:
    """Read a device file; InputError for what is no regular file, empty, or too large."""
    octets = read_octets(path, what="device file", limit=limit)
    if not octets:
        message = "the file must hold a description, not be empty"
        raise InputError(Problem(path=path, message=message))
    return DeviceFile(path, octets)
