"""The demo site: the map files of a storage lift before and after a change, and ways to fail.

All data are invented. ``before`` and ``after`` are file name -> text; a variant patches the files
of ``after`` and names the rules that must find the mistake. ``device_files`` is what the importer
reads, one file of every format.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any


@dataclass(frozen=True, slots=True, kw_only=True)
class Variant:
    """One mistake: the whole site with it, and the names of the rules that must report it."""

    name: str
    title: str
    expect: tuple[str, ...]
    changed: tuple[str, ...]
    site: dict[str, str]


def before() -> dict[str, str]:
    """Return the map files of the whole site before the second brake is fitted."""
    return _read("before")


def after() -> dict[str, str]:
    """Return the map files of the whole site with the second brake at both ends."""
    return {**before(), **_read("after")}


def variants() -> tuple[Variant, ...]:
    """Return the mistakes in the order of ``variants.toml``."""
    text = files(__package__).joinpath("variants.toml").read_text(encoding="utf-8")
    return tuple(_variant(entry, after()) for entry in tomllib.loads(text)["variant"])


def device_files() -> dict[str, str]:
    """Return the device files, program texts and sheets that ``safeframe import`` reads."""
    return _read("device-files", "")


def _read(state: str, suffix: str = ".toml") -> dict[str, str]:
    return dict(_texts(state, suffix))


@cache
def _texts(state: str, suffix: str) -> tuple[tuple[str, str], ...]:
    found = [
        (entry.name, entry.read_text(encoding="utf-8"))
        for entry in files(__package__).joinpath(state).iterdir()
        if entry.name.endswith(suffix)
    ]
    return tuple(sorted(found))


def _variant(entry: dict[str, Any], site: dict[str, str]) -> Variant:
    changed: list[str] = []
    for patch in entry["patch"]:
        name, old = patch["file"], patch["old"]
        if site[name].count(old) != 1:
            raise ValueError(f"the patch of {entry['name']} must fit {name} exactly once: {old!r}")
        site[name] = site[name].replace(old, patch["new"])
        changed.append(name)
    return Variant(
        name=entry["name"],
        title=entry["title"],
        expect=tuple(entry["expect"]),
        changed=tuple(dict.fromkeys(changed)),
        site=site,
    )
