"""What the user states because no device file says it: viewpoint, identity, open decisions."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Any

from .._errors import UsageError

CHOICES: dict[str, tuple[str, ...]] = {
    "viewpoint": ("device", "controller"),
    "direction": ("sends", "receives"),
    "container": ("auto", "none"),
    "padding_after_crc": ("reserve", "continue"),
    "gaps": ("reserve",),
    "word_bits": ("big",),
    "layout": ("bits", "octet-bool"),
    "order": ("little", "big"),
    "safe": ("zero",),
}
"""The words of the decisions that have few."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Decisions:
    """The decisions for one import; an empty text is "not decided" and stops where it matters.

    ``viewpoint`` is whose map is made where the file has both directions, ``direction`` what a
    selection is where it has none. The others are the options of the same names; ``version`` is
    that of the program, for the provenance.

    >>> from safeframe import importing
    >>> importing.Decisions(viewpoint="device").container
    'auto'
    """

    viewpoint: str = ""
    direction: str = ""
    container: str = "auto"
    padding_after_crc: str = ""
    number_names: bool = False
    gaps: str = ""
    word_bits: str = ""
    split_unaligned: bool = False
    layout: str = ""
    order: str = ""
    language: str = ""
    encoding: str = ""
    codes: bool = False
    safe: str = ""
    bind_prefix: str | None = None
    version: str = ""

    @classmethod
    def read(cls, options: Sequence[str]) -> Decisions:
        """Read options as ``stated`` writes them; UsageError for an unknown one."""
        values: dict[str, Any] = {}
        flags = [field.name for field in fields(cls) if field.default is False]
        for option in options:
            word, _, value = option.partition(" ")
            name = word.removeprefix("--").replace("-", "_")
            name = "viewpoint" if name == "as" else name
            if not word.startswith("--") or name not in cls.__slots__ or name == "version":
                raise UsageError(f"an option must be one of safeframe import, not {option!r}")
            if bool(value) is (name in flags) and name != "bind_prefix":
                need = "stand alone" if name in flags else "have a value"
                raise UsageError(f"{word} must {need}, not be {option!r}")
            values[name] = True if name in flags else value
        return cls(**values)

    def stated(self) -> tuple[str, ...]:
        """Return what is decided, as options of the command line, in the order of the fields."""
        words = []
        for name in self.__slots__:
            value = getattr(self, name)
            if value in ("", False, None) or (name, value) == ("container", "auto"):
                continue
            if name == "version":
                continue
            option = f"--{'as' if name == 'viewpoint' else name.replace('_', '-')}"
            words.append(option if value is True else f"{option} {value}")
        return tuple(words)


@dataclass(frozen=True, slots=True, kw_only=True)
class Identity:
    """Names and numbers of the project that no device file holds.

    >>> from safeframe import importing
    >>> importing.Identity(connection="SC1-LX", end="LX", peer="SC1").profile
    ''
    """

    connection: str
    end: str
    peer: str
    profile: str = ""
    role: str = ""
    id: int | None = None
