"""Scaffolding for tests of writing: two files, edits of them, processes that end at a step."""

from __future__ import annotations

import os
import signal
import traceback
from pathlib import Path
from typing import cast

from safeframe._document.recover import How, recover
from safeframe._document.replace import Replacement, replace_all

__all__ = [
    "MIXED",
    "STEPS",
    "NEW",
    "OLD",
    "ROOT",
    "end_at",
    "items",
    "left_over",
    "set_up",
    "state",
]

ROOT = Path(__file__).resolve().parent.parent.parent
OLD = {"sc1.toml": "controller, ä\r\n", "lx.toml": "drive\n"}
NEW = {"sc1.toml": "controller, new\r\n", "lx.toml": "drive, neu: ö\n"}

_COPY = ["copy of the old text", "new text"]
_WRITTEN = [
    f"{step} {what}"
    for what in (*_COPY, *_COPY, "note", "note")
    for step in (
        "create the",
        "write half of the",
        "write the rest of the",
        "flush the",
        "flush the folder of the",
    )
]
_PUT = ["compare", "rename", "look at what was replaced"]
STEPS = [
    *_WRITTEN[:25],
    "put the note there",
    *_WRITTEN[25:],
    "put the note there",
    *_PUT,
    *_PUT,
    "clean up",
    "remove the notes",
    "done",
]
MIXED = STEPS.index("look at what was replaced") + 1
"""The step between the two replacements."""


def set_up(folder: Path, *, apart: bool = True) -> list[str]:
    """Write both files, in two folders or in one, and beside them what they were and get."""
    paths = []
    for name, text in OLD.items():
        place = folder / name.removesuffix(".toml") if apart else folder
        place.mkdir(parents=True, exist_ok=True)
        for suffix, content in (("", text), (".old", text), (".new", NEW[name])):
            (place / f"{name}{suffix}").write_bytes(content.encode())
        paths.append(str(place / name))
    return paths


def items(paths: list[str]) -> list[Replacement]:
    """Return the edit of both files."""
    return [Replacement(path, OLD[Path(path).name], NEW[Path(path).name]) for path in paths]


def end_at(number: int, paths: list[str], action: str = "replace") -> str:
    """Run an action in a process that kills itself at a step; return its name, empty at the end."""
    ours, theirs = os.pipe()
    process = os.fork()
    if not process:
        try:
            _act(number, paths, action, theirs)
            os._exit(0)
        except BaseException:
            os.write(theirs, traceback.format_exc().encode())
        finally:
            os._exit(1)
    os.close(theirs)
    with open(ours, encoding="utf-8") as file:
        told = file.read()
    code = os.waitstatus_to_exitcode(os.waitpid(process, 0)[1])
    assert code == (-signal.SIGKILL if told else 0), told
    return told


def _act(number: int, paths: list[str], action: str, told: int) -> None:
    left = iter(range(number - 1, -1, -1))

    def step(name: str) -> None:
        if next(left, None) == 0:
            os.write(told, name.encode())
            os.kill(os.getpid(), signal.SIGKILL)

    if action == "replace":
        texts = [
            [Path(f"{path}.{age}").read_bytes().decode() for path in paths]
            for age in ("old", "new")
        ]
        replace_all(*map(Replacement, paths, *texts), step=step)
    else:
        recover(paths, how=cast(How, "" if action == "recover" else action), step=step)


def state(paths: list[str]) -> str:
    """Return whether both files are old, both new, or of two versions."""
    texts = [Path(path).read_bytes().decode() for path in paths]
    names = [Path(path).name for path in paths]
    if texts == [OLD[name] for name in names]:
        return "old"
    return "new" if texts == [NEW[name] for name in names] else "mixed"


def left_over(paths: list[str]) -> list[str]:
    """Return the hidden files beside both files."""
    return sorted(entry.name for path in paths for entry in Path(path).parent.glob(".*"))
