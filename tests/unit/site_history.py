"""A site of twelve connections, random edits of it in a git repository, and a model of the answer.

The model holds what every end says as plain values and knows nothing of the package: it says what
``diff --since`` must answer from what was done.
"""

from __future__ import annotations

import copy
import os
import random
import shutil
import subprocess
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from safeframe import _mapfile as mapfile

CONNECTIONS = 12
PLACES = range(8)
FOLDERS = ("", "hall 3/", "größe/", "a/b c/")


@dataclass
class ModelEnd:
    """What the map of one end says, and where it is."""

    path: str
    there: bool = True
    watchdog: int = 100
    signals: frozenset[int] = frozenset({0})
    binding: int = 0
    remark: int = 0

    @property
    def shared(self) -> tuple[object, ...]:
        return self.watchdog, self.signals

    def deltas(self, later: ModelEnd) -> dict[object, tuple[object, object]]:
        """Return what an edit did to each shared thing."""
        found: dict[object, tuple[object, object]] = {}
        if self.watchdog != later.watchdog:
            found["watchdog"] = (self.watchdog, later.watchdog)
        for place in self.signals ^ later.signals:
            found[place] = (place in self.signals, place in later.signals)
        return found


@dataclass
class ModelConnection:
    """One connection: its number never changes, its name may."""

    number: int
    name: str
    ends: dict[str, ModelEnd] = field(default_factory=dict)

    @property
    def here(self) -> list[ModelEnd]:
        return [end for end in self.ends.values() if end.there]

    @property
    def agrees(self) -> bool:
        first, second = self.ends.values()
        return first.shared == second.shared


Site = dict[int, ModelConnection]


def expected(before: Site, after: Site) -> dict[str, tuple[str, str, bool, bool]]:
    """Return change, older name, moved and settled of each connection, by its name."""
    found = {}
    for number in before.keys() | after.keys():
        row = _row(before.get(number), after.get(number))
        if row is not None:
            name, *told = row
            found[name] = tuple(told)
    return found  # type: ignore[return-value]


def _row(
    old: ModelConnection | None, new: ModelConnection | None
) -> tuple[str, str, str, bool, bool] | None:
    was, now = (len(one.here) if one is not None else 0 for one in (old, new))
    if not was and not now:
        return None
    if not now or new is None:
        assert old is not None
        return old.name, "removed", "", False, True
    other = old.name if old is not None and was and old.name != new.name else ""
    moved = old is not None and any(
        end.there and new.ends[name].there and end.path != new.ends[name].path
        for name, end in old.ends.items()
    )
    if now == 1:
        return new.name, "only one end", other, moved, False
    if was < 2 or old is None:
        return new.name, "new", "", False, new.agrees
    deltas = [end.deltas(new.ends[name]) for name, end in old.ends.items()]
    if old.name != new.name:
        for delta in deltas:
            delta["name"] = (old.name, new.name)
    own = any(end.binding != new.ends[name].binding for name, end in old.ends.items())
    alike = deltas[0] == deltas[1]
    if not any(deltas):
        change = "own parts edited" if own else "unchanged"
    elif not all(deltas):
        change = "only one end edited"
    else:
        change = "edited identically" if alike else "edited differently"
    return new.name, change, other, moved, alike and new.agrees


def text_of(one: ModelConnection, name: str) -> str:
    """Return the map of an end as TOML."""
    end = one.ends[name]
    (peer,) = one.ends.keys() - {name}
    controller = name == "SC1"
    runs, free = [], 0
    for place in (*PLACES, 8):
        if place in end.signals or place == 8:
            if free:
                runs.append(f'{{ at = "0.{place - free}", reserved = {free} }},')
            free = 0
            if place < 8:
                runs.append(
                    f'{{ at = "0.{place}", name = "permit{place}", one_means = "permit {place}", '
                    f'bind = "{name}.Permit{place}_{end.binding}" }},'
                )
        else:
            free += 1
    sends = [
        f'{{ at = "0.0", name = "restart", edge = "rising", bind = "{name}.On{end.binding}" }},',
        '{ at = "0.1", reserved = 7 },',
    ]
    first, second = ("sends", "receives") if controller else ("receives", "sends")
    return "\n".join(
        [
            f"# remark {end.remark}",
            'format = "safeframe-map/1"',
            f'connection = {{ name = "{one.name}", profile = "plain", id = {one.number}, '
            f'watchdog_ms = {end.watchdog}, exchange_ms = 8, legal_octets = [1], network = "n" }}',
            f'end = {{ name = "{name}", peer = "{peer}" }}',
            f"{first} = [",
            *runs,
            "]",
            f"{second} = [",
            *sends,
            "]",
            "",
        ]
    )


class Repository:
    """A git repository that holds nothing of its surroundings, with a folder ``maps``.

    It begins as a copy of the one that it is ``like``.
    """

    def __init__(self, folder: Path, *, like: Repository | None = None) -> None:
        self.folder = folder
        if like:
            shutil.copytree(like.folder, folder)
        else:
            (folder / "maps").mkdir(parents=True)
            self.git("init", "-q", "--template=")

    def git(self, *words: str) -> str:
        environ = {key: value for key, value in os.environ.items() if not key.startswith("GIT_")}
        environ |= {"GIT_CONFIG_GLOBAL": os.devnull, "GIT_CONFIG_SYSTEM": os.devnull}
        who = ("-c", "user.name=A. Berg", "-c", "user.email=a.berg@lift.invalid")
        done = subprocess.run(
            ["git", *who, *words], cwd=self.folder, env=environ, capture_output=True, check=True
        )
        return os.fsdecode(done.stdout).strip()

    def write(self, files: dict[str, str]) -> None:
        for name, text in files.items():
            path = self.folder / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(text, encoding="utf-8")

    def commit(self, files: dict[str, str] | None = None) -> None:
        """Write files and commit everything."""
        self.write(files or {})
        self.git("add", "-A")
        self.git("commit", "-q", "--allow-empty", "-m", "maps: edit")

    def put(self, site: Site) -> str:
        """Commit a site as it is, and nothing else below ``maps``; return the commit's name."""
        for path in sorted((self.folder / "maps").rglob("*.*")):
            path.unlink()
        files = {}
        for one in site.values():
            for name, end in one.ends.items():
                if end.there:
                    text = text_of(one, name)
                    if end.path.endswith(".csv"):
                        text = mapfile.dumps(mapfile.loads(text), format="csv")
                    files[f"maps/{end.path}"] = text
        self.commit(files)
        return self.git("rev-parse", "HEAD")


class Editor:
    """Makes one random edit after the other."""

    def __init__(self, seed: int) -> None:
        self.random = random.Random(seed)
        self.site: Site = {}
        self.names = 0
        self.files = 0
        for _ in range(CONNECTIONS):
            self.add()

    def add(self) -> None:
        self.names += 1
        number = self.names
        ends = {name: ModelEnd(path=self.path()) for name in ("SC1", f"D{number}")}
        self.site[number] = ModelConnection(number, f"SC1-D{number}", ends)

    def path(self) -> str:
        self.files += 1
        suffix = self.random.choice(("toml", "toml", "csv"))
        return f"{self.random.choice(FOLDERS)}map {self.files}.{suffix}"

    def edit(self) -> str:
        """Do one of the edits to one of the connections that allow it; return what it was."""
        while True:
            edit = self.random.choice(EDITS)
            one = self.random.choice(list(self.site.values()))
            if len(one.here) == 2 or edit in (restore, remove, add):
                edit(self, one)
                return edit.__name__

    def end(self, one: ModelConnection) -> ModelEnd:
        return self.random.choice(one.here)

    def copy(self) -> Site:
        return copy.deepcopy(self.site)


def both_watchdogs(editor: Editor, one: ModelConnection) -> None:
    value = editor.random.randrange(60, 200)
    for end in one.ends.values():
        end.watchdog = value


def one_watchdog(editor: Editor, one: ModelConnection) -> None:
    editor.end(one).watchdog = editor.random.randrange(60, 200)


def two_watchdogs(editor: Editor, one: ModelConnection) -> None:
    for end in one.ends.values():
        end.watchdog = editor.random.randrange(60, 200)


def both_signals(editor: Editor, one: ModelConnection) -> None:
    place = editor.random.choice(PLACES)
    on = editor.random.random() < 0.7
    for end in one.ends.values():
        end.signals = end.signals | {place} if on else end.signals - {place}


def one_signal(editor: Editor, one: ModelConnection) -> None:
    end = editor.end(one)
    end.signals ^= {editor.random.choice(PLACES)}


def heal(editor: Editor, one: ModelConnection) -> None:
    first, second = one.ends.values()
    second.watchdog, second.signals = first.watchdog, first.signals


def bindings(editor: Editor, one: ModelConnection) -> None:
    editor.end(one).binding += 1


def remark(editor: Editor, one: ModelConnection) -> None:
    editor.end(one).remark += 1


def move(editor: Editor, one: ModelConnection) -> None:
    for end in editor.random.choice((one.here, [editor.end(one)])):
        end.path = editor.path()


def rename(editor: Editor, one: ModelConnection) -> None:
    editor.names += 1
    one.name = f"SC1-R{editor.names}"


def rename_and_move(editor: Editor, one: ModelConnection) -> None:
    rename(editor, one)
    for end in one.here:
        end.path = editor.path()


def lose_an_end(editor: Editor, one: ModelConnection) -> None:
    editor.end(one).there = False


def restore(editor: Editor, one: ModelConnection) -> None:
    for end in one.ends.values():
        end.there = True


def remove(editor: Editor, one: ModelConnection) -> None:
    if len(editor.site) > CONNECTIONS - 2:
        del editor.site[one.number]


def add(editor: Editor, one: ModelConnection) -> None:
    editor.add()


EDITS: tuple[Callable[[Editor, ModelConnection], None], ...] = (
    both_watchdogs,
    one_watchdog,
    two_watchdogs,
    both_signals,
    one_signal,
    heal,
    bindings,
    remark,
    move,
    rename,
    rename_and_move,
    lose_an_end,
    restore,
    remove,
    add,
)
