"""Kills at random moments and races with other writers, for every way a file gets written.

``SAFEFRAME_ATTACKS=1000`` tries each attack so many times; the suite tries a few. With ``-s`` a row
is printed for each: attack, tried, files lost, and how the trials ended.
"""

from __future__ import annotations

import os
import random
import re
import signal
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path

import pytest

from safeframe import _demo as demo
from safeframe import record
from safeframe._cli import main
from safeframe._document import output
from safeframe._document.pending import pending
from safeframe._document.recover import How, recover
from safeframe._document.replace import replace_all
from safeframe._errors import SafeframeError, UsageError
from safeframe.residual._cache import recall
from safeframe.residual._code import contiguous
from tests.conftest import import_everything
from tests.unit.record_maps import TESTED
from tests.unit.written import NEW, OLD, items, left_over, set_up, state

pytestmark = pytest.mark.no_cover

TRIALS = int(os.environ.get("SAFEFRAME_ATTACKS", "12"))
FEWER = int(os.environ.get("SAFEFRAME_ATTACKS", "3"))
"""Trials of whole commands, which take longer."""

KIND = output.OutputKind("list", (b"#",), b"# list")
OTHER = b"# another program\n"


def start(act: Callable[[], object]) -> int:
    """Run something in a process of its own: 0 done, 1 refused, 2 a fault; never returns there."""
    process = os.fork()
    if process:
        return process
    code = 2
    try:
        act()
        code = 0
    except SafeframeError:
        code = 1
    finally:
        os._exit(code)


def end(process: int) -> int:
    return os.waitstatus_to_exitcode(os.waitpid(process, 0)[1])


def killed(
    process: int, chance: random.Random, longest_s: float, by: signal.Signals = signal.SIGKILL
) -> int:
    time.sleep(chance.uniform(0, longest_s))
    os.kill(process, by)
    return end(process)


def outside(path: Path, way: str) -> None:
    """Write as editors do: in place, or a new file that takes the name."""
    if way == "in place":
        path.write_bytes(OTHER)
    else:
        made = path.with_name(f"{path.name}~")
        made.write_bytes(OTHER)
        made.replace(path)


def duration_s(act: Callable[[], object]) -> float:
    """Return how long a writer takes here and now, so that an attack hits it anywhere."""
    started = time.monotonic()
    assert end(start(act)) == 0
    return 1.3 * (time.monotonic() - started)


def told(name: str, seen: Counter[str]) -> None:
    print(f"{name:40} tried {sum(seen.values()):5}  lost {seen['lost']}  {dict(seen)}")
    assert seen["lost"] == 0
    assert seen["fault"] == 0


def trials(tmp_path: Path, count: int = TRIALS) -> list[tuple[Path, random.Random]]:
    made = []
    for number in range(count):
        folder = tmp_path / str(number)
        folder.mkdir()
        made.append((folder, random.Random(number)))
    return made


def test_edits_killed_at_any_time(tmp_path: Path) -> None:
    seen: Counter[str] = Counter()
    longest_s = duration_s(partial(replace_all, *items(set_up(tmp_path / "first"))))
    for folder, chance in trials(tmp_path):
        paths = set_up(folder, apart=chance.random() < 0.5)
        killed(start(partial(replace_all, *items(paths))), chance, longest_s)
        found = state(paths)
        noted = any(map(pending, paths))
        if found == "mixed" and not noted:
            seen["lost"] += 1
            continue
        seen[f"{found}{', told' if noted else ''}"] += 1
        if noted:
            how: How = "finish" if chance.random() < 0.5 else "undo"
            killed(
                start(partial(recover, paths, how=how)),
                chance,
                longest_s,
            )
            if any(map(pending, paths)):
                # Killed while it removed the copies: complete, and no more to be undone.
                copies = [name for name in left_over(paths) if name.endswith("-old")]
                gone = state(paths) == "new" and len(set(copies)) < 2
                recover(paths, how="" if gone else how)
            assert state(paths) in ("old", "new")
        if state(paths) == "old":
            replace_all(*items(paths))
        assert state(paths) == "new"
    told("edit, killed", seen)


@pytest.mark.parametrize("way", ["in place", "a new file"])
def test_edits_and_an_outside_writer(tmp_path: Path, way: str) -> None:
    seen: Counter[str] = Counter()
    longest_s = duration_s(partial(replace_all, *items(set_up(tmp_path / "first"))))
    for folder, chance in trials(tmp_path):
        paths = set_up(folder, apart=False)
        path = Path(chance.choice(paths))
        rest = next(Path(other) for other in paths if Path(other) != path)
        process = start(partial(replace_all, *items(paths)))
        time.sleep(chance.uniform(0, longest_s))
        outside(path, way)
        code = end(process)
        whole = rest.read_bytes().decode() == {0: NEW, 1: OLD}.get(code, {}).get(rest.name)
        if path.read_bytes() != OTHER or code not in (0, 1, 3):
            seen["lost"] += 1
        elif not whole or any(map(pending, paths)):
            seen["fault"] += 1
        else:
            seen[{0: "before it", 1: "refused"}[code]] += 1
        assert left_over(paths) == []
    told(f"edit, outside writer ({way})", seen)


def test_two_edits_in_both_orders(tmp_path: Path) -> None:
    seen: Counter[str] = Counter()
    longest_s = duration_s(partial(replace_all, *items(set_up(tmp_path / "first"))))
    for folder, chance in trials(tmp_path):
        paths = set_up(folder, apart=chance.random() < 0.5)
        third = [one._replace(new=f"third {one.new}") for one in items(paths)[::-1]]
        first = start(partial(replace_all, *items(paths)))
        time.sleep(chance.uniform(0, longest_s / 3))
        second = start(partial(replace_all, *third))
        codes = end(first), end(second)
        texts = [Path(path).read_bytes().decode() for path in paths]
        ours, theirs = [one.new for one in items(paths)], [one.new for one in third[::-1]]
        winner = {(0, 1): ours, (1, 0): theirs}.get(codes)
        if texts not in (ours, theirs, list(OLD.values())):
            seen["lost"] += 1
        elif winner is None and codes != (1, 1):
            seen["fault"] += 1
        elif winner is not None and texts != winner:
            seen["lost"] += 1
        else:
            seen[f"exits {codes[0]} {codes[1]}"] += 1
        assert left_over(paths) == []
    told("edit, two in both orders", seen)


def entered(number: int) -> Callable[[record.Record], record.Record]:
    end_name = ("SC1", "LX")[number]
    return lambda made: record.fill(made, end_name, serial=f"7{number}", who="A. Berg")


def fresh_record(folder: Path) -> Path:
    path = folder / "r.json"
    path.write_text(record.dumps(TESTED), encoding="utf-8")
    return path


def serials(path: Path) -> dict[str, str]:
    return {each.end: each.serial for each in record.load(path).people.read_backs}


def test_records_killed_at_any_time(tmp_path: Path) -> None:
    seen: Counter[str] = Counter()
    (tmp_path / "first").mkdir()
    longest_s = duration_s(partial(record.update, fresh_record(tmp_path / "first"), entered(0)))
    for folder, chance in trials(tmp_path):
        path = fresh_record(folder)
        (folder / "r.json.new").write_bytes(b"a user's")
        before = path.read_bytes()
        code = killed(start(partial(record.update, path, entered(0))), chance, longest_s)
        new = serials(path)["SC1"] == "70"
        if not new and (path.read_bytes() != before or code == 0):
            seen["lost"] += 1
        else:
            seen["new" if new else "old"] += 1
        record.update(path, entered(1))
        assert serials(path)["LX"] == "71"
        assert (folder / "r.json.new").read_bytes() == b"a user's"
        assert sorted(one.name for one in folder.iterdir()) == ["r.json", "r.json.new"]
    told("record, killed", seen)


def stepping(monkeypatch: pytest.MonkeyPatch, at: Callable[[str], None]) -> list[str]:
    """Let every update of a record call ``at`` before each step of writing; return the steps."""
    steps: list[str] = []

    def step(name: str) -> None:
        steps.append(name)
        at(name)

    monkeypatch.setattr("safeframe.record._files.replace_all", partial(replace_all, step=step))
    return steps


def test_a_record_killed_at_every_step(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """MUST: the record is whole, old or new, and the next entry goes in without any help."""
    steps = stepping(monkeypatch, lambda _: None)
    record.update(fresh_record(tmp_path), entered(0))
    names = tuple(steps)
    assert len(names) > 8
    states = []
    for number, name in enumerate(names):
        path = fresh_record(tmp_path)
        before = record.load(path)
        left = iter(range(number, -1, -1))

        def at(_: str, left: Iterator[int] = left) -> None:
            if next(left) == 0:
                os.kill(os.getpid(), signal.SIGKILL)

        stepping(monkeypatch, at)
        assert end(start(partial(record.update, path, entered(0)))) == -signal.SIGKILL, name
        after = record.load(path)
        assert after in (before, entered(0)(before)), name
        states.append(after != before)
        stepping(monkeypatch, lambda _: None)
        record.update(path, entered(1))
        assert record.load(path) == entered(1)(after), name
        assert sorted(one.name for one in tmp_path.iterdir()) == ["r.json"], name
    assert states == sorted(states)
    assert {*states} == {False, True}


def test_a_second_person_at_every_step(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """MUST: while one entry is being written, another one is refused; nothing is lost."""
    path = fresh_record(tmp_path)
    before = record.load(path)
    codes: list[int] = []

    def second() -> None:
        monkeypatch.setattr("safeframe.record._files.replace_all", replace_all)
        record.update(path, entered(1))

    steps = stepping(monkeypatch, lambda _: codes.append(end(start(second))))
    record.update(path, entered(0))
    assert codes == [1] * len(steps)
    assert record.load(path) == entered(0)(before)


def test_two_entries_in_one_record_at_once(tmp_path: Path) -> None:
    seen: Counter[str] = Counter()
    (tmp_path / "first").mkdir()
    longest_s = duration_s(partial(record.update, fresh_record(tmp_path / "first"), entered(0)))
    for folder, chance in trials(tmp_path):
        path = fresh_record(folder)
        first = start(partial(record.update, path, entered(0)))
        time.sleep(chance.uniform(0, longest_s))
        second = start(partial(record.update, path, entered(1)))
        codes = end(first), end(second)
        found = serials(path)
        right = all(
            (found[name] == f"7{number}") is (codes[number] == 0)
            for number, name in enumerate(("SC1", "LX"))
        )
        seen[f"exits {codes[0]} {codes[1]}" if right and codes != (1, 1) else "lost"] += 1
        assert [one.name for one in folder.iterdir()] == ["r.json"]
    told("record, two entries at once", seen)


@pytest.mark.parametrize("way", ["in place", "a new file"])
def test_records_and_an_outside_writer(tmp_path: Path, way: str) -> None:
    seen: Counter[str] = Counter()
    (tmp_path / "first").mkdir()
    longest_s = duration_s(partial(record.update, fresh_record(tmp_path / "first"), entered(0)))
    for folder, chance in trials(tmp_path):
        path = fresh_record(folder)
        process = start(partial(record.update, path, entered(0)))
        time.sleep(chance.uniform(0, longest_s))
        outside(path, way)
        code = end(process)
        seen["lost" if path.read_bytes() != OTHER else ("before it", "refused", "fault")[code]] += 1
    told(f"record, outside writer ({way})", seen)


def claim_and_write(path: Path, octets: bytes) -> None:
    (made,) = output.claim([("--list", str(path), KIND)], {}, force=False).values()
    output.write(made, octets)


@pytest.mark.parametrize("new", [True, False])
def test_outputs_killed_at_any_time(tmp_path: Path, new: bool) -> None:
    seen: Counter[str] = Counter()
    octets = b"# list\n" + b"x" * 300_000
    longest_s = duration_s(partial(claim_and_write, tmp_path / "first", octets))
    for folder, chance in trials(tmp_path):
        path = folder / "list"
        if not new:
            path.write_bytes(b"# list\n")
        killed(start(partial(claim_and_write, path, octets)), chance, longest_s)
        found = path.read_bytes() if path.exists() else None
        if found == octets:
            seen["new"] += 1
        else:
            seen["old" if found == (None if new else b"# list\n") else "lost"] += 1
        claim_and_write(path, octets)
    told(f"output, killed ({'new' if new else 'replaced'})", seen)


@pytest.mark.parametrize("way", ["in place", "a new file"])
@pytest.mark.parametrize("new", [True, False])
def test_outputs_and_an_outside_writer(tmp_path: Path, way: str, new: bool) -> None:
    seen: Counter[str] = Counter()
    octets = b"# list\n" + b"x" * 300_000
    longest_s = duration_s(partial(claim_and_write, tmp_path / "first", octets))
    for folder, chance in trials(tmp_path):
        path = folder / "list"
        if not new:
            path.write_bytes(b"# list\n")
        process = start(partial(claim_and_write, path, octets))
        time.sleep(chance.uniform(0, longest_s))
        outside(path, way)
        code = end(process)
        seen["lost" if path.read_bytes() != OTHER else ("before it", "refused", "fault")[code]] += 1
    told(f"output, outside writer ({way}, {'new' if new else 'replaced'})", seen)


MAPS = ["sc1-lx.toml", "lx-sc1.toml"]
BRAKE = [
    *("--name", "brake2_release", "--after", "speed_level", "--one-means", "brake 2 released"),
    *("--bind", "SC1=Lift.Brake2Release", "--bind", "LX=Drive.Brake2Release"),
]
FILLED = ["--end", "SC1", "--who", "A. Berg", "--when", "2026-03-02", "--serial", "70"]
COMMANDS = {
    "edit": ["edit", "insert", *MAPS, *BRAKE, "--write"],
    "record": ["record", "fill", "r.json", *FILLED],
    "baseline": ["check", *MAPS, "--write-baseline", "out"],
    "page": ["check", *MAPS, "--html", "out"],
    "frames": ["fixtures", "--set", "start-up", "--format", "jsonl", *MAPS, "-o", "out"],
    "picture": ["show", MAPS[0], "--svg", "out"],
}
"""A command line that writes, for each way of writing; what it writes is named below."""
WRITTEN = {"edit": MAPS, "record": ["r.json"]}


class Command:
    """A command in a folder: what it reads and writes, before it and after it."""

    def __init__(self, folder: Path, name: str) -> None:
        self.words, self.written = COMMANDS[name], WRITTEN.get(name, ["out"])
        self.folder = folder
        texts = demo.before()
        for path in MAPS:
            (folder / path).write_bytes(texts[path].encode())
        (folder / "r.json").write_text(record.dumps(TESTED), encoding="utf-8")
        self.old = self.texts()

    def texts(self) -> dict[str, bytes]:
        """Return every file that is not hidden."""
        return {
            path.name: path.read_bytes()
            for path in self.folder.iterdir()
            if not path.name.startswith(".")
        }

    @property
    def said(self) -> Path:
        """Where what it says goes."""
        return self.folder / ".said"

    def run(self) -> None:
        """Run it in its folder."""
        os.chdir(self.folder)
        # A suite that runs in the background ignores the key, and so would the command.
        signal.signal(signal.SIGINT, signal.default_int_handler)
        os.dup2(os.open(os.devnull, os.O_RDWR), 0)
        # Not by descriptors alone: what pytest captures goes elsewhere.
        sys.stdout = sys.stderr = self.said.open("a", buffering=1, encoding="utf-8")
        for descriptor in (1, 2):
            os.dup2(sys.stdout.fileno(), descriptor)
        code = main(self.words)
        if code not in (0, 1, 130):
            raise UsageError(f"exit code {code}")


def prepared(tmp_path: Path, name: str) -> tuple[dict[str, bytes], float]:
    """Return what a command leaves, and how long it takes here.

    Its modules are imported before: attacks shall hit what it does, not what it loads.
    """
    import_everything()
    (tmp_path / "first").mkdir()
    command = Command(tmp_path / "first", name)
    longest_s = duration_s(command.run)
    new = command.texts()
    assert {path for path in new if new[path] != command.old.get(path)} == set(command.written)
    return new, longest_s


@pytest.mark.parametrize("name", COMMANDS)
def test_commands_killed_at_any_time(tmp_path: Path, name: str) -> None:
    seen: Counter[str] = Counter()
    new, longest_s = prepared(tmp_path, name)
    for folder, chance in trials(tmp_path, FEWER):
        command = Command(folder, name)
        killed(start(command.run), chance, longest_s)
        found = command.texts()
        noted = any(pending(str(folder / path)) for path in MAPS)
        states = {
            path: {command.old.get(path): "old", new[path]: "new"}.get(found.get(path), "lost")
            for path in new
            if new[path] != command.old.get(path)
        }
        same = all(found[path] == text for path, text in command.old.items() if path not in states)
        words = set(states.values())
        if "lost" in words or not same or (len(words) > 1 and not noted):
            seen["lost"] += 1
        else:
            seen[f"{' and '.join(sorted(words))}{', told' if noted else ''}"] += 1
    told(f"{name}, command killed", seen)


@pytest.mark.parametrize("name", COMMANDS)
def test_commands_interrupted_at_any_time(tmp_path: Path, name: str) -> None:
    """MUST: whatever is new when the key has ended a command, it has said so."""
    seen: Counter[str] = Counter()
    new, longest_s = prepared(tmp_path, name)
    for folder, chance in trials(tmp_path, FEWER):
        command = Command(folder, name)
        killed(start(command.run), chance, longest_s, signal.SIGINT)
        found, told_of = command.texts(), ""
        if command.said.exists():
            told_of = command.said.read_text(encoding="utf-8")
        states = set()
        for path in command.written:
            is_new = found.get(path) == new[path]
            words = rf"written: .*{path}|(?m:^|: |, ){path}(:| holds| written)"
            if not is_new and found.get(path) != command.old.get(path):
                states.add("lost")
            elif is_new and not re.search(words, told_of):
                states.add("fault")
            else:
                states.add("new" if is_new else "old")
        seen["lost" if len(states) > 1 else states.pop()] += 1
    told(f"{name}, command interrupted", seen)


@pytest.mark.parametrize("way", ["in place", "a new file"])
@pytest.mark.parametrize("name", COMMANDS)
def test_commands_and_an_outside_writer(tmp_path: Path, name: str, way: str) -> None:
    seen: Counter[str] = Counter()
    new, longest_s = prepared(tmp_path, name)
    for folder, chance in trials(tmp_path, FEWER):
        command = Command(folder, name)
        path = chance.choice(command.written)
        process = start(command.run)
        time.sleep(chance.uniform(0, longest_s))
        outside(folder / path, way)
        code = end(process)
        found = command.texts()
        rest = {one for one in command.written if one != path}
        whole = all(found[one] in (command.old.get(one), new[one]) for one in rest)
        if found[path] != OTHER or not whole:
            seen["lost"] += 1
        else:
            seen[("done before it or after", "refused", "fault")[code]] += 1
    told(f"{name}, outside writer ({way})", seen)


CODE = contiguous(0x139B7, 60)


def fill_cache(folder: Path) -> None:
    """Work out weights anew, and keep them."""
    recall(CODE, directory=folder, worth_s=0)


def test_caches_killed_at_any_time(tmp_path: Path) -> None:
    seen: Counter[str] = Counter()
    right, _ = recall(CODE, directory=None)
    longest_s = duration_s(partial(fill_cache, tmp_path / "first"))
    for folder, chance in trials(tmp_path, FEWER):
        killed(start(partial(fill_cache, folder)), chance, longest_s)
        kept = list(folder.glob("*.json"))
        found, note = recall(CODE, directory=folder, worth_s=0)
        seen[("new" if kept else "old") if found == right and not note else "lost"] += 1
    told("cache, killed", seen)


def test_caches_and_an_outside_writer(tmp_path: Path) -> None:
    seen: Counter[str] = Counter()
    right, _ = recall(CODE, directory=None)
    fill_cache(tmp_path / "first")
    (name,) = [path.name for path in (tmp_path / "first").glob("*.json")]
    longest_s = duration_s(partial(fill_cache, tmp_path / "second"))
    for folder, chance in trials(tmp_path, FEWER):
        process = start(partial(fill_cache, folder))
        time.sleep(chance.uniform(0, longest_s))
        outside(folder / name, chance.choice(["in place", "a new file"]))
        code = end(process)
        found, note = recall(CODE, directory=folder, worth_s=0)
        seen["lost" if code or found != right else "told" if note else "new"] += 1
    told("cache, outside writer", seen)
