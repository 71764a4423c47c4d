"""The hook, the recipe for CI and the schemas, as a user of them would run them."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import jsonschema
import pytest

from safeframe import _demo as demo
from safeframe import _mapfile as mapfile
from safeframe import importing
from safeframe._cli import main, schema
from tests.generators import pictures
from tests.test_docs import PAGES, blocks_of

from .schemas import fits

ROOT = Path(__file__).resolve().parent.parent.parent
STATES = ("before/sc1-lx.toml", "before/lx-sc1.toml", "after/sc1-lx.toml", "after/lx-sc1.toml")


def recipe() -> str:
    text = (ROOT / "docs" / "outputs.md").read_text(encoding="utf-8")
    (found,) = re.findall(r"^```sh script\n(.*?)^```$", text, re.DOTALL | re.MULTILINE)
    return str(found)


class Repository:
    """A git repository with the maps of the demo, in which the recipe is run."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        tools = folder / "tools"
        self.environ = {
            **{key: value for key, value in os.environ.items() if not key.startswith("GIT_")},
            "PATH": f"{tools}:{os.environ['PATH']}",
            "PYTHONPATH": str(ROOT),
            "GIT_CONFIG_GLOBAL": os.devnull,
            "GIT_CONFIG_SYSTEM": os.devnull,
        }

    def begin(self) -> None:
        """Write the programs, and commit the maps as they are before the change."""
        tools = self.folder / "tools"
        (self.folder / "site" / "maps").mkdir(parents=True)
        (self.folder / "site" / "records").mkdir()
        tools.mkdir()
        # A "python3" of the path may be a script that looks for one first.
        for name, words in (("safeframe", "-m safeframe"), ("python3", "-S")):
            program = f'#!/bin/sh\nexec "{sys.executable}" {words} "$@"\n'
            (tools / name).write_text(program, encoding="utf-8")
            (tools / name).chmod(0o755)
        (tools / "release_gate.sh").write_text(recipe(), encoding="utf-8")
        self.git("init", "-q", "--template=")
        with (self.folder / "site" / ".git" / "config").open("a", encoding="utf-8") as file:
            file.write("[user]\nname = A. Berg\nemail = a.berg@lift.invalid\n")
            file.write("[maintenance]\nauto = false\n")
        self.keep({f"maps/{name}": text for name, text in demo.before().items()})

    def git(self, *words: str) -> None:
        self.run("git", *words).check_returncode()

    def run(self, *words: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            words,
            cwd=self.folder / "site",
            env=self.environ,
            capture_output=True,
            text=True,
            check=False,
        )

    def commit(self, files: dict[str, str]) -> subprocess.CompletedProcess[str]:
        """Commit files and return what the recipe says of it."""
        self.keep(files)
        return self.gate()

    def keep(self, files: dict[str, str]) -> None:
        """Commit files."""
        for name, text in files.items():
            (self.folder / "site" / name).write_text(text, encoding="utf-8")
        self.git("add", ".")
        self.git("commit", "-q", "-m", "maps: edit")

    def gate(self, *words: str) -> subprocess.CompletedProcess[str]:
        return self.run("sh", str(self.folder / "tools" / "release_gate.sh"), *words)


@pytest.fixture(scope="module")
def begun(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("repository") / "begun"
    Repository(folder).begin()
    return folder


@pytest.fixture
def repository(begun: Path, tmp_path: Path) -> Repository:
    shutil.copytree(begun, tmp_path / "copy")
    return Repository(tmp_path / "copy")


def maps(state: dict[str, str]) -> dict[str, str]:
    return {f"maps/{name}": state[name] for name in ("sc1-lx.toml", "lx-sc1.toml")}


@pytest.fixture(scope="module")
def record(tmp_path_factory: pytest.TempPathFactory) -> str:
    folder = tmp_path_factory.mktemp("record")
    for state, files in (("before", demo.before()), ("after", demo.after())):
        (folder / state).mkdir()
        for name, text in files.items():
            (folder / state / name).write_text(text, encoding="utf-8")
    paths = [str(folder / name) for name in STATES]
    out = folder / "brake2.json"
    assert main(["record", "new", *paths, "--reason", "second brake", "-o", str(out)]) == 0
    return out.read_text(encoding="utf-8")


def test_recipe_wants_a_record(repository: Repository) -> None:
    done = repository.commit(maps(demo.after()))
    told = "what both ends share has changed, and this commit holds no record of it"
    assert done.stdout == f"maps/lx-sc1.toml: {told}\nmaps/sc1-lx.toml: {told}\n"
    assert (done.returncode, done.stderr) == (1, "")


def test_recipe_takes_the_record(repository: Repository, record: str) -> None:
    done = repository.commit({**maps(demo.after()), "records/brake2.json": record})
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")


def test_recipe_wants_the_record_of_this_change(repository: Repository, record: str) -> None:
    later = {
        name: text.replace("watchdog_ms = 100", "watchdog_ms = 120")
        for name, text in maps(demo.after()).items()
    }
    done = repository.commit({**later, "records/brake2.json": record})
    assert done.returncode == 1


def test_recipe_lets_comments_and_bindings_pass(repository: Repository) -> None:
    texts = {
        name: "# reviewed\n" + text.replace("Lift.PermitUp", "Lift.Up")
        for name, text in maps(demo.before()).items()
    }
    assert repository.commit(texts).returncode == 0


TOLD = "what both ends share has changed, and this commit holds no record of it"


def changed() -> str:
    """Return a map in which what both ends share is another one than before."""
    return demo.before()["sc1-lx.toml"].replace("watchdog_ms = 100", "watchdog_ms = 120")


def test_recipe_lets_maps_be_moved_and_written_in_the_other_notation(
    repository: Repository,
) -> None:
    repository.git("mv", "maps/sc1-lx.toml", "maps/größe \U0001f6d7.toml")
    assert repository.commit({}).returncode == 0
    (repository.folder / "site" / "maps" / "hall 3").mkdir()
    repository.git("mv", "maps/größe \U0001f6d7.toml", "maps/hall 3/sc1.toml")
    assert repository.commit({}).returncode == 0
    csv = mapfile.dumps(mapfile.loads(demo.before()["sc1-lx.toml"]), format="csv")
    repository.git("rm", "-q", "maps/hall 3/sc1.toml")
    assert repository.commit({"maps/sc1.csv": csv}).returncode == 0


@pytest.mark.parametrize(
    "name",
    [
        "sc1-lx.toml",
        "moved.toml",
        "größe \U0001f6d7.toml",
        "table.csv",
        "hall 3/sc1.toml",
        "-o.toml",
        "two\nlines.toml",
        "back\\slash $(x) 'quotes\".toml",
    ],
)
def test_recipe_notices_a_change_under_any_name(repository: Repository, name: str) -> None:
    text = changed()
    if name.endswith(".csv"):
        text = mapfile.dumps(mapfile.loads(text), format="csv")
    repository.git("rm", "-q", "maps/sc1-lx.toml")
    (repository.folder / "site" / "maps" / "hall 3").mkdir(parents=True)
    done = repository.commit({f"maps/{name}": text})
    shown = name.replace("\n", "?").encode("ascii", "backslashreplace").decode()
    assert (done.returncode, done.stdout, done.stderr) == (1, f"maps/{shown}: {TOLD}\n", "")


def test_recipe_prints_no_command(repository: Repository) -> None:
    name = "a\n::error::b ##vso[c]d.toml"
    done = repository.commit({f"maps/{name}": changed()})
    assert done.stdout == f"maps/a?::error::b ??vso[c]d.toml: {TOLD}\n"


def test_recipe_notices_an_old_map_that_comes_back(repository: Repository) -> None:
    assert repository.commit({"maps/kept.toml": changed()}).returncode == 1
    assert repository.commit({"maps/sc1-lx.toml": changed()}).returncode == 1


def test_recipe_notices_a_map_that_is_a_link(repository: Repository) -> None:
    (repository.folder / "site" / "elsewhere.toml").write_text(changed(), encoding="utf-8")
    (repository.folder / "site" / "maps" / "link.toml").symlink_to("../elsewhere.toml")
    assert repository.commit({}).stdout == f"maps/link.toml: {TOLD}\n"


def test_recipe_heeds_no_attributes(repository: Repository) -> None:
    done = repository.commit(
        {".gitattributes": "maps/* export-ignore\n", "maps/sc1-lx.toml": changed()}
    )
    assert done.returncode == 1


@pytest.mark.parametrize("name", ["notes.txt", "notes.json", "brake2.json.txt"])
def test_recipe_takes_no_mention_for_a_record(
    repository: Repository, record: str, name: str
) -> None:
    text = record if name.endswith(".txt") else json.dumps(json.loads(record)["computed"])
    assert text.count('"wire"') > 1
    done = repository.commit({**maps(demo.after()), f"records/{name}": text})
    assert done.returncode == 1


def test_recipe_takes_no_record_of_an_earlier_commit(repository: Repository, record: str) -> None:
    assert repository.commit({"records/brake2.json": record}).returncode == 0
    assert repository.commit(maps(demo.after())).returncode == 1


def test_recipe_takes_no_record_that_git_does_not_hold(repository: Repository, record: str) -> None:
    """What a commit lacks MUST NOT count for it."""
    assert repository.commit(maps(demo.after())).returncode == 1
    path = repository.folder / "site" / "records" / "größe #1.json"
    path.write_text(record, encoding="utf-8")
    told = (
        "'records/gr\\xf6\\xdfe #1.json': not counted, since git does not hold it as it is here\n"
    )
    done = repository.gate()
    assert (done.returncode, done.stdout.startswith(told)) == (1, True)
    repository.git("add", "records")
    done = repository.gate()
    assert (done.returncode, done.stdout) == (0, "")
    path.write_text(record.replace("\n", "\n\n", 1), encoding="utf-8")
    assert repository.gate().stdout.startswith(told)
    # Line ends may differ between a checkout and what git holds.
    path.write_bytes(record.replace("\n", "\r\n").encode())
    assert repository.gate().returncode == 0


def test_recipe_before_the_first_commit(repository: Repository, record: str) -> None:
    repository.git("checkout", "-q", "--orphan", "other")
    done = repository.gate("HEAD")
    assert (done.returncode, done.stdout.count(TOLD)) == (1, len(demo.before()))
    assert repository.gate().returncode == 2, "there is no commit before HEAD"
    for name, text in {**maps(demo.after()), "records/brake2.json": record}.items():
        (repository.folder / "site" / name).write_text(text, encoding="utf-8")
    repository.git("add", ".")
    # The record is about one connection, and the others are new as well.
    assert repository.gate("HEAD").stdout.count(TOLD) == len(demo.after()) - 2


def test_recipe_takes_no_old_record_under_another_name(repository: Repository, record: str) -> None:
    assert repository.commit({"records/brake2.json": record}).returncode == 0
    repository.git("mv", "records/brake2.json", "records/größe.json")
    assert repository.commit(maps(demo.after())).returncode == 1


@pytest.mark.parametrize("ends", ["lf", "crlf"])
def test_recipe_takes_no_old_record_with_other_line_ends(
    repository: Repository, record: str, ends: str
) -> None:
    texts = [record, record.replace("\n", "\r\n")]
    if ends == "lf":
        texts.reverse()
    assert repository.commit({"records/brake2.json": texts[0]}).returncode == 0
    path = repository.folder / "site" / "records" / "brake2.json"
    path.write_bytes(texts[1].encode())
    assert repository.commit(maps(demo.after())).returncode == 1


def test_recipe_takes_no_doubtful_revision(repository: Repository) -> None:
    repository.git("branch", "v1")
    repository.keep(maps(demo.after()))
    repository.git("tag", "v1")
    done = repository.gate("v1")
    assert done.returncode == 2
    assert "a revision must name one commit" in done.stderr
    repository.git("replace", "HEAD~", "HEAD")
    assert repository.gate().returncode == 1


def test_recipe_takes_a_record_below_the_folder(repository: Repository, record: str) -> None:
    (repository.folder / "site" / "records" / "halle ä").mkdir()
    done = repository.commit({**maps(demo.after()), "records/halle ä/größe.json": record})
    assert (done.returncode, done.stdout) == (0, "")


def test_recipe_takes_no_record_of_the_maps_before(repository: Repository, record: str) -> None:
    repository.keep(maps(demo.after()))
    done = repository.commit({**maps(demo.before()), "records/brake2.json": record})
    assert done.returncode == 1


def test_recipe_compares_with_the_revision_asked_for(repository: Repository, record: str) -> None:
    repository.keep({**maps(demo.after()), "records/brake2.json": record})
    later = {f"maps/{name}": f"# reviewed\n{text}" for name, text in demo.after().items()}
    assert repository.commit(later).returncode == 0
    assert repository.gate("HEAD~2").returncode == 0
    (repository.folder / "site" / "records" / "brake2.json").unlink()
    assert repository.gate("HEAD~2").returncode == 1
    assert repository.gate("nothing").returncode not in (0, 1)


def test_recipe_fails_on_a_map_that_cannot_be_read(repository: Repository) -> None:
    done = repository.commit({"maps/sc1-lx.toml": "format = 1\n"})
    assert done.returncode not in (0, 1)


def test_hook_names_a_command_that_is_there() -> None:
    text = (ROOT / ".pre-commit-hooks.yaml").read_text(encoding="utf-8")
    for name, entry in (("check", "safeframe check"), ("diff", "safeframe diff --since HEAD")):
        assert f"- id: safeframe-{name}\n" in text
        assert f"  entry: {entry}\n" in text
    # Whatever a commit touches: records, plants and device files matter, and so does what is gone.
    assert text.count("  always_run: true\n") == 2
    assert "files:" not in text.replace("pass_filenames:", "")


def test_the_page_about_the_hook_names_this_release() -> None:
    page = (ROOT / "docs" / "outputs.md").read_text(encoding="utf-8")
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    assert re.findall(r"rev: (\S+)", page) == [f"v{project['project']['version']}"]
    assert "Tag the commit with `v` and the version" in (ROOT / "DEVELOPERS.md").read_text("utf-8")


@pytest.mark.parametrize("name", schema.names())
def test_schemas_are_schemas(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["schema", name]) == 0
    document = json.loads(capsys.readouterr().out)
    jsonschema.Draft202012Validator.check_schema(document)
    assert document["$schema"].endswith("2020-12/schema")
    assert document["title"]


def test_schema_lists_its_names(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["schema"]) == 0
    listed = capsys.readouterr().out.split()
    assert {"map", "plant", "record", "report", "cases", "diff", "baseline"} <= set(listed)
    assert main(["schema", "nothing"]) == 2


def test_examples_fit_their_schemas_and_editors_find_them(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["demo"]) == 0
    found = sorted(tmp_path.rglob("*.toml"))
    assert len(found) > 40
    for path in found:
        text = path.read_text(encoding="utf-8")
        if path.name == "columns.toml":
            assert importing.load_columns(str(path)).names  # The mapping file of a sheet.
            continue
        first = text.splitlines()[0]
        assert first.startswith("#:schema "), path
        target = (path.parent / first.removeprefix("#:schema ")).resolve()
        name = target.name.removesuffix(".schema.json")
        assert target.read_text(encoding="utf-8") == schema.text_of(name)
        fits(name, tomllib.loads(text))


def test_pictures_of_the_documentation_are_not_stale() -> None:
    """After a change of a picture: ``python -m tests.generators.pictures``."""
    found = {path.name: path.read_text("utf-8") for path in pictures.FOLDER.iterdir()}
    assert found == pictures.pictures()


def test_examples_of_the_documentation_fit_their_schemas() -> None:
    seen = set()
    for page in PAGES:
        for block in blocks_of(page.read_text(encoding="utf-8")):
            named = re.search(r'^format = "safeframe-(map|plant)/1"$', block.text, re.MULTILINE)
            # A map that is no "toml map" shows a mistake.
            wanted = {"toml map": ["map"], "toml": ["plant"]}.get(block.language, [])
            if named and named[1] in wanted:
                fits(named[1], tomllib.loads(block.text))
                seen.add(named[1])
    assert seen == {"map", "plant"}


@pytest.mark.parametrize("path", sorted((ROOT / "vectors").rglob("*.json")), ids=lambda p: p.stem)
def test_vectors_fit_the_schema_of_cases(path: Path) -> None:
    document = json.loads(path.read_text(encoding="utf-8"))
    fits("cases", document)


def test_the_record_fits_its_schema(record: str) -> None:
    fits("record", json.loads(record))
