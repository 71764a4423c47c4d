"""Scaffolding for tests of writing: two files, edits of them, processes that end at a step."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

from safeframe._document.replace import Replacement

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

_SCRIPT = """\
import os, signal, sys
from safeframe._document.recover import recover
from safeframe._document.replace import Replacement, replace_all
action, end_at, *paths = sys.argv[1:]
count = 0
def step(name):
    global count
    count += 1
    if count == int(end_at):
        print(name, flush=True)
        os.kill(os.getpid(), signal.SIGKILL)
if action == "replace":
    texts = [
        [open(f"{path}.{age}", "rb").read().decode() for path in paths] for age in ("old", "new")
    ]
    replace_all(*map(Replacement, paths, *texts), step=step)
else:
    recover(paths, how="" if action == "recover" else action, step=step)
"""


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
    done = subprocess.run(
        [sys.executable, "-c", _SCRIPT, action, str(number), *paths],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
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
    """Return the hidden files beside both files."""
    return sorted(entry.name for path in paths for entry in Path(path).parent.glob(".*"))
