"""Every fenced block of the documentation is run, so that none of it can go stale.

``sh``: each ``$ safeframe ...`` line is run in a folder of its own and its output compared;
``sh setup``: commands of a bare machine, run by ``.ci/run``; ``sh script``: run by its own test;
``python``: executed, ``python script`` to its exit; ``toml map``
and ``csv map``: loaded as a map file, and written to the folder when the line before the block
names a file in backticks; ``toml plant``: read as a plant file and written likewise; ``toml`` and
``json``: parsed; ``text``: free.
"""

from __future__ import annotations

import json
import re
import shlex
import shutil
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from safeframe import _checks as checks
from safeframe import _mapfile as mapfile
from safeframe._cli import COMMANDS, main
from safeframe._plant import file as plantfile

ROOT = Path(__file__).resolve().parent.parent
PAGES = sorted(
    path
    for path in [ROOT / "README.md", ROOT / "DEVELOPERS.md", *(ROOT / "docs").rglob("*.md")]
    if path.exists()
)
NAMES = [str(path.relative_to(ROOT)) for path in PAGES]


@dataclass(frozen=True)
class Block:
    """A fenced block: its language words, its text, its line, the file name before it."""

    language: str
    text: str
    line: int
    file: str


def blocks_of(text: str) -> Iterator[Block]:
    """Yield the fenced blocks of a page in order."""
    lines = text.splitlines()
    number = 0
    last = ""
    while number < len(lines):
        match = re.fullmatch(r"( *)```(.*)", lines[number])
        if match:
            start = number + 1
            end = lines.index(f"{match[1]}```", start)
            body = "".join(f"{line.removeprefix(match[1])}\n" for line in lines[start:end])
            named = re.search(r"`([\w.-]+)`\W*$", last)
            yield Block(match[2].strip(), body, start, named[1] if named else "")
            number = end
        elif lines[number].strip():
            last = lines[number]
        number += 1


def compare(printed: str, shown: str, command: str) -> None:
    """Compare an output with what a page shows of it; a line ``...`` stands for any lines."""
    if "..." not in shown.splitlines():
        assert printed == shown, command
        return
    position = 0
    for number, part in enumerate(re.split(r"^\.\.\.$\n?", shown, flags=re.MULTILINE)):
        found = printed.find(part.rstrip(), position)
        assert found >= 0, f"{command} does not print:\n{part}\nbut:\n{printed}"
        assert number or found == 0, f"{command} must start as shown"
        position = found + len(part.rstrip())
    assert shown.endswith("...") or position == len(printed), f"{command} must end as shown"


def run_shell(text: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Run each command of a console block and compare what it prints."""
    parts = re.split(r"^\$ ", text, flags=re.MULTILINE)
    assert not parts[0].strip(), f"a console block must start with a command: {parts[0]!r}"
    assert parts[1:], "a console block must hold a command"
    for part in parts[1:]:
        command, _, expected = part.partition("\n")
        words = shlex.split(command, comments=True)
        assert words[0] == "safeframe", f"only safeframe can be run here, not {words[0]}"
        capsys.readouterr()
        main(words[1:])
        captured = capsys.readouterr()
        compare((captured.out + captured.err).rstrip(), expected.rstrip(), command)


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Make the demo once: each page that uses it gets a copy of its own."""
    folder = tmp_path_factory.mktemp("demo") / "demo-lift"
    assert main(["demo", "--into", str(folder)]) == 0
    return folder


@pytest.mark.parametrize("page", PAGES, ids=NAMES)
def test_blocks(
    page: Path,
    demo: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    text = page.read_text(encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("NO_COLOR", "1")
    if "demo-lift/" in text:
        shutil.copytree(demo, "demo-lift")
    names: dict[str, object] = {}
    for block in blocks_of(text):
        where = f"{page.relative_to(ROOT)}:{block.line}"
        match block.language.split():
            case ["sh"]:
                run_shell(block.text, capsys)
            case ["python"]:
                exec(compile(block.text, where, "exec"), names)
            case [("toml" | "csv") as format, "map"]:
                mapfile.loads(block.text, path=where, format=format)
                if block.file:
                    (tmp_path / block.file).write_text(block.text, encoding="utf-8")
            case ["toml", "plant"]:
                assert block.file, f"{where}: the line before must name the file"
                plantfile.listed(block.text, path=where)
                (tmp_path / block.file).write_text(block.text, encoding="utf-8")
            case ["toml"]:
                tomllib.loads(block.text)
            case ["json"]:
                json.loads(block.text)
            case ["python", "script"]:
                with pytest.raises(SystemExit) as stop:
                    exec(compile(block.text, where, "exec"), {"__name__": "__main__"})
                assert stop.value.code in (0, False), capsys.readouterr()
            case ["diff"]:
                # Pages of rules are made from maps that run as tests (tests/unit/test_rules.py).
                assert page.parent.name == "rules", where
            case ["sh", "setup"] | ["sh", "script"] | ["text"]:
                pass
            case other:
                pytest.fail(f"{where}: no way to check a block of {other}")


@pytest.mark.parametrize("page", PAGES, ids=NAMES)
def test_links_lead_somewhere(page: Path) -> None:
    text = page.read_text(encoding="utf-8")
    for target in re.findall(r"\]\(([^)#\s]+)(?:#[^)]*)?\)", text):
        if "://" not in target:
            assert (page.parent / target).exists(), f"{page.relative_to(ROOT)}: {target}"


def test_the_index_lists_every_page() -> None:
    index = (ROOT / "docs" / "README.md").read_text(encoding="utf-8")
    linked = {(ROOT / "docs" / target).resolve() for target in re.findall(r"\]\(([^)#\s]+)", index)}
    pages = {path for path in (ROOT / "docs").glob("*.md") if path.name != "README.md"}
    assert pages - linked == set()


def test_the_readme_names_every_command() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    assert [name for name in COMMANDS if f"safeframe {name}" not in text] == []


def test_ci_runs_the_commands_of_the_readme() -> None:
    blocks = [
        block
        for block in blocks_of((ROOT / "README.md").read_text(encoding="utf-8"))
        if block.language == "sh setup"
    ]
    assert len(blocks) == 2
    assert "safeframe demo" in blocks[0].text
    assert "pytest" in blocks[1].text
    assert "```sh setup" in (ROOT / ".ci" / "run").read_text(encoding="utf-8")


def test_no_console_block_means_nothing() -> None:
    with pytest.raises(AssertionError, match="must hold a command"):
        run_shell("", None)  # type: ignore[arg-type]


def test_left_out_lines_leave_the_rest_exact() -> None:
    compare("a\nb\nc\nd", "a\n...\nc\n...", "x")
    compare("a\nb\nc\nd", "...\nb\n...\nd", "x")
    for shown in ("b\n...", "a\n...\nx\n...", "a\n...\nc", "a\nb"):
        with pytest.raises(AssertionError):
            compare("a\nb\nc\nd", shown, "x")


def test_every_rule_has_its_page() -> None:
    pages = {path.stem for path in (ROOT / "docs" / "rules").glob("*.md")}
    assert {rule.name for rule in checks.RULES} == pages
