"""Reading the states of a site: folders, plant files, revisions, and what is refused of them."""

from __future__ import annotations

import os
import posixpath
import shutil
import subprocess
import time
from pathlib import Path
from typing import Any

import pytest

import safeframe
from safeframe import UsageError, compare_sites, read_site
from safeframe import _demo as demo
from safeframe._cli import main
from safeframe._history.git import Contents, GitEntry
from tests.unit.site_history import Repository

MAPS = ("sc1-lx.toml", "lx-sc1.toml")


@pytest.fixture(scope="module")
def begun(tmp_path_factory: pytest.TempPathFactory) -> Repository:
    made = Repository(tmp_path_factory.mktemp("begun") / "site")
    made.commit({f"maps/{name}": text for name, text in demo.before().items()})
    return made


@pytest.fixture
def repository(begun: Repository, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Repository:
    """A repository with the demo before its edit in ``maps``, in the current folder."""
    made = Repository(tmp_path / "site", like=begun)
    monkeypatch.chdir(made.folder)
    return made


def changes(before: safeframe.SiteState, after: safeframe.SiteState) -> list[tuple[str, str]]:
    return [(row.name, row.change) for row in compare_sites(before, after).rows]


def since(revision: str = "HEAD", folder: str = "maps") -> safeframe.SiteComparison:
    before = read_site(folder, revision=revision)
    return compare_sites(before, read_site(folder, checkout=True, known=before))


def told(comparison: safeframe.SiteComparison) -> dict[str, str]:
    return {row.name: row.change for row in comparison.rows}


LX_PLANT = (
    'format = "safeframe-plant/1"\nname = "hall 3"\n'
    'connections = [{ ends = ["sc1-lx.toml", "lx-sc1.toml"] }]\n'
)
UNCHANGED = {"SC1-LC1": "unchanged", "SC1-LX": "unchanged", "SC1-LX2": "unchanged"}


class TestBeforeTheFirstCommit:
    """What git compares with nothing MUST be compared with nothing, and told so."""

    NEW = dict.fromkeys(UNCHANGED, "new")

    @pytest.fixture
    def unborn(self, repository: Repository) -> Repository:
        repository.git("checkout", "-q", "--orphan", "other")
        repository.write({"maps/plant.toml": LX_PLANT})
        repository.git("add", ".")
        return repository

    @pytest.mark.parametrize("revision", ["HEAD", "@"])
    @pytest.mark.parametrize("folder", ["maps", ".", "maps/plant.toml"])
    def test_a_branch_without_a_commit(
        self,
        unborn: Repository,
        revision: str,
        folder: str,
        capsys: pytest.CaptureFixture[str],
    ) -> None:
        comparison = since(revision, folder)
        assert comparison.before == f"{folder} before the first commit"
        assert set(told(comparison).values()) == {"new"}
        assert (comparison.problems, comparison.fails()) == ((), False)
        assert main(["diff", "--since", revision, folder]) == 0
        assert capsys.readouterr().err == (
            f"safeframe: {folder} before the first commit holds no map, so every connection is "
            "told as new\n"
        )

    def test_a_new_repository(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.chdir(tmp_path)
        made = Repository(tmp_path / "site")
        monkeypatch.chdir(made.folder)
        made.write({f"maps/{name}": text for name, text in demo.before().items()})
        assert told(since()) == self.NEW
        assert since().fails(), "nothing was added to git"
        made.git("add", ".")
        assert not since().fails()
        (made.folder / "maps/lx-sc1.toml").unlink()
        assert since().fails(), "one end has no partner"

    def test_what_is_wrong_with_it_is_told(self, unborn: Repository) -> None:
        (unborn.folder / "maps/plant.toml").unlink()
        unborn.write({"maps/lx-sc1.toml": demo.after()["lx-sc1.toml"]})
        unborn.git("add", ".")
        assert since().fails()

    @pytest.mark.parametrize("revision", ["HEAD~", "other", "HEAD^{tree}"])
    def test_no_other_name_is_that_of_nothing(self, unborn: Repository, revision: str) -> None:
        with pytest.raises(UsageError, match="a revision must be a commit of this repository"):
            read_site("maps", revision=revision)

    def test_a_broken_branch_is_none_without_a_commit(self, repository: Repository) -> None:
        branch = repository.folder / ".git" / repository.git("symbolic-ref", "HEAD")
        branch.write_text("nonsense\n", encoding="utf-8")
        with pytest.raises(UsageError, match="must be a commit of this repository, not HEAD"):
            read_site("maps", revision="HEAD")
        branch.write_text("1" * 40 + "\n", encoding="utf-8")
        with pytest.raises(UsageError, match="must be a commit of this repository, not HEAD"):
            read_site("maps", revision="HEAD")

    def test_a_commit_that_is_not_there(self, repository: Repository) -> None:
        (repository.folder / ".git/HEAD").write_text("1" * 40 + "\n", encoding="utf-8")
        with pytest.raises(UsageError, match="must be a commit of this repository, not HEAD"):
            read_site("maps", revision="HEAD")


class TestRevisions:
    def test_what_is_committed_is_read_and_nothing_is_checked_out(
        self, repository: Repository
    ) -> None:
        repository.write({f"maps/{name}": demo.after()[name] for name in MAPS})
        comparison = since()
        assert told(comparison) == UNCHANGED | {"SC1-LX": "edited identically"}
        assert (comparison.before, comparison.after) == ("maps at HEAD", "maps")
        (row,) = (row for row in comparison.rows if row.level)
        assert [end.files for end in row.ends] == [
            ("HEAD:maps/lx-sc1.toml", "maps/lx-sc1.toml"),
            ("HEAD:maps/sc1-lx.toml", "maps/sc1-lx.toml"),
        ]
        assert row.before is not None
        assert row.before.first.sends.entries[0].where.path == "HEAD:maps/lx-sc1.toml"
        assert repository.git("status", "--porcelain") == (
            "M maps/lx-sc1.toml\n M maps/sc1-lx.toml"
        )

    def test_from_a_folder_below_and_for_the_current_folder(
        self, repository: Repository, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.chdir(repository.folder / "maps")
        assert told(since(folder=".")) == UNCHANGED
        assert since(folder=".").rows[0].ends[0].files[0] == "HEAD:lc1-sc1.toml"
        assert told(since(folder="../maps")) == UNCHANGED
        monkeypatch.chdir(repository.folder.parent)
        assert told(since(folder="site/maps")) == UNCHANGED
        assert told(since(folder=str(repository.folder / "maps"))) == UNCHANGED

    def test_links_to_the_folder(self, repository: Repository, tmp_path: Path) -> None:
        """A revision MUST be read under the name that was typed, or not at all."""
        outside = tmp_path / "outside"
        outside.symlink_to(repository.folder / "maps")
        assert told(since(folder=str(outside))) == UNCHANGED
        whole = tmp_path / "whole"
        whole.symlink_to(repository.folder)
        assert told(since(folder=str(whole / "maps"))) == UNCHANGED
        (repository.folder / "maps").rename(repository.folder / "real")
        (repository.folder / "maps").symlink_to("real")
        for folder in ("maps", str(whole / "maps")):
            message = f"^to read a revision, {folder} must be the folder itself, not a link$"
            with pytest.raises(UsageError, match=message):
                since(folder=folder)

    def test_a_state_without_maps_is_told(
        self, repository: Repository, capsys: pytest.CaptureFixture[str]
    ) -> None:
        repository.git("mv", "maps", "real")
        assert main(["diff", "--since", "HEAD", "real"]) == 0
        assert capsys.readouterr().err == (
            "safeframe: real at HEAD holds no map, so every connection is told as new\n"
        )
        assert main(["diff", "--since", "HEAD", "maps"]) == 0
        assert capsys.readouterr().err == (
            "safeframe: maps holds no map, so every connection is told as removed\n"
        )

    def test_an_empty_revision_is_none(
        self, repository: Repository, capsys: pytest.CaptureFixture[str]
    ) -> None:
        """A script with an empty variable MUST NOT learn that nothing changed."""
        repository.write({f"maps/{name}": demo.after()[name] for name in MAPS})
        assert main(["diff", "--since", "", "maps"]) == 2
        found = capsys.readouterr()
        assert found.out == ""
        assert found.err.startswith(
            "safeframe: diff: --since must have a value, not an empty one\n"
        )

    def test_a_folder_that_is_gone_and_one_that_came(self, repository: Repository) -> None:
        shutil.rmtree(repository.folder / "maps")
        assert set(told(since()).values()) == {"removed"}
        repository.commit()
        repository.write({f"later/{name}": text for name, text in demo.after().items()})
        assert set(told(since(folder="later")).values()) == {"new"}

    @pytest.mark.parametrize(
        "name",
        [
            "größe \U0001f6d7.toml",
            "two\nlines.toml",
            "tab\t\"quote' $(x) `y`.toml",
            "-o.toml",
            ":(top)x.toml",
            "*.toml",
            "back\\slash.toml",
            "hall 3/ä/sc1.toml",
            "SC1.TOML",
        ],
    )
    def test_odd_names(self, repository: Repository, name: str) -> None:
        target = repository.folder / "maps" / name
        target.parent.mkdir(parents=True, exist_ok=True)
        (repository.folder / "maps" / "sc1-lx.toml").rename(target)
        first = since()
        assert told(first) == UNCHANGED
        assert [row.moved for row in first.rows if row.moved] == [(("sc1-lx.toml", name),)]
        repository.commit()
        target.write_text(demo.after()["sc1-lx.toml"], encoding="utf-8")
        second = since()
        assert told(second) == UNCHANGED | {"SC1-LX": "only one end edited"}
        assert (first.problems, second.problems) == ((), ())

    @pytest.mark.skipif(os.name == "nt", reason="names of any octets")
    def test_a_name_that_is_no_utf_8(self, repository: Repository) -> None:
        folder = os.fsencode(repository.folder / "maps")
        os.rename(folder + b"/sc1-lx.toml", folder + b"/\xff.toml")  # noqa: PTH104
        repository.commit()
        assert told(since()) == UNCHANGED
        assert told(since("HEAD~")) == UNCHANGED

    @pytest.mark.parametrize(
        "revision", ["nothing", "0" * 40, "HEAD:maps", "^HEAD", "HEAD..HEAD", "HEAD~99", "a b"]
    )
    def test_an_unknown_revision(self, repository: Repository, revision: str) -> None:
        with pytest.raises(UsageError) as told_:
            read_site("maps", revision=revision)
        assert str(told_.value) == (
            f"a revision must be a commit of this repository, not {revision}"
        )

    @pytest.mark.parametrize("revision", ["--exec=x", "-", "HEAD\n", "a\x1bb"])
    def test_no_name_of_a_revision_is_an_option(
        self, repository: Repository, revision: str
    ) -> None:
        with pytest.raises(UsageError, match="a revision must be the name of a commit, not "):
            read_site("maps", revision=revision)

    def test_tags_and_short_names(self, repository: Repository) -> None:
        repository.git("tag", "-a", "-m", "release", "v1")
        short = repository.git("rev-parse", "--short", "HEAD")
        assert told(since("v1")) == told(since(short)) == told(since("HEAD@{0}")) == UNCHANGED

    def test_without_git(self, repository: Repository, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setenv("PATH", str(repository.folder))
        with pytest.raises(UsageError, match="the program git must be on the path, and is not"):
            read_site("maps", revision="HEAD")

    def test_a_git_that_does_not_run(
        self, repository: Repository, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        broken = repository.folder / "git"
        broken.write_bytes(b"\x00\x01")
        broken.chmod(0o755)
        monkeypatch.setenv("PATH", str(repository.folder))
        with pytest.raises(UsageError, match=r"git must run: "):
            read_site("maps", revision="HEAD")

    def test_outside_a_repository(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setenv("GIT_CEILING_DIRECTORIES", str(tmp_path.parent))
        with pytest.raises(UsageError, match=r"must lie in a work tree of git \(not a git repos"):
            read_site(tmp_path, revision="HEAD")

    def test_inside_the_folder_of_git_itself(self, repository: Repository) -> None:
        with pytest.raises(UsageError, match="must lie in a work tree of git"):
            read_site(".git", revision="HEAD")

    def test_a_shallow_clone(self, repository: Repository, monkeypatch: pytest.MonkeyPatch) -> None:
        old = repository.git("rev-parse", "HEAD")
        repository.commit({"maps/note.txt": "later"})
        repository.git("clone", "-q", "--depth", "1", f"file://{repository.folder}", "../clone")
        monkeypatch.chdir(repository.folder.parent / "clone")
        assert told(since()) == UNCHANGED
        with pytest.raises(UsageError) as told_:
            read_site("maps", revision=old)
        assert str(told_.value) == (
            f"a revision must be a commit of this repository, not {old}; this clone is shallow "
            "and may end before it (git fetch --unshallow gets the rest)"
        )

    def test_objects_that_are_missing_are_not_fetched(
        self, repository: Repository, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        repository.git("config", "uploadpack.allowFilter", "true")
        repository.write({f"maps/{name}": demo.after()[name] for name in MAPS})
        repository.commit()
        url = f"file://{repository.folder}"
        repository.git("clone", "-q", "--filter=blob:none", url, "../clone")
        clone = repository.folder.parent / "clone"
        monkeypatch.chdir(clone)
        comparison = since("HEAD~")
        assert told(comparison)["SC1-LX"] == "not judged"
        assert {str(one) for one in comparison.problems} == {
            f"HEAD~:maps/{name}: the content must be in the repository, not missing (fetch it "
            "with git)"
            for name in MAPS
        }

    def test_a_tree_that_is_missing(self, repository: Repository) -> None:
        tree = repository.git("rev-parse", "HEAD:maps")
        stored = repository.folder / ".git" / "objects" / tree[:2] / tree[2:]
        stored.unlink()
        with pytest.raises(
            UsageError, match=r"the files of HEAD must be in the repository \(error: "
        ):
            read_site("maps", revision="HEAD")

    def test_nothing_of_the_checkout_is_run(self, repository: Repository) -> None:
        spy = repository.folder / "spy"
        script = f"#!/bin/sh\ntouch '{spy}'\ncat\n"
        program = repository.folder / "program"
        program.write_text(script, encoding="utf-8")
        program.chmod(0o755)
        for hook in ("post-checkout", "fsmonitor-watchman", "post-index-change", "pre-commit"):
            target = repository.folder / ".git" / "hooks" / hook
            target.parent.mkdir(exist_ok=True)
            shutil.copy(program, target)
        for key in (
            *("core.fsmonitor", "core.pager", "core.sshCommand", "diff.x.textconv"),
            *("filter.x.smudge", "filter.x.clean", "filter.x.process", "core.editor"),
            *("diff.external", "core.askPass", "core.gitProxy", "core.alternateRefsCommand"),
        ):
            repository.git("config", key, str(program))
        repository.git("config", "core.hooksPath", str(repository.folder / ".git" / "hooks"))
        repository.write({".gitattributes": "* filter=x diff=x\n"})
        assert told(since()) == UNCHANGED
        assert not spy.exists()

    def test_the_surroundings_of_a_hook_lead_nowhere_else(
        self, repository: Repository, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        other = Repository(repository.folder.parent / "other")
        other.commit({"x.txt": ""})
        monkeypatch.setenv("GIT_DIR", str(other.folder / ".git"))
        monkeypatch.setenv("GIT_INDEX_FILE", str(other.folder / ".git" / "index"))
        monkeypatch.setenv("GIT_WORK_TREE", str(other.folder))
        assert told(since()) == UNCHANGED

    def test_replaced_objects_do_not_count(self, repository: Repository) -> None:
        old = repository.git("rev-parse", "HEAD")
        repository.write({f"maps/{name}": demo.after()[name] for name in MAPS})
        repository.commit()
        new = repository.git("rev-parse", "HEAD")
        repository.git("replace", old, new)
        assert told(since(old))["SC1-LX"] == "edited identically"

    def test_other_parents_do_not_count(self, repository: Repository) -> None:
        first = repository.git("rev-parse", "HEAD")
        repository.commit({f"maps/{name}": demo.after()[name] for name in MAPS})
        repository.commit()
        last = repository.git("rev-parse", "HEAD")
        grafts = repository.folder / ".git" / "info" / "grafts"
        grafts.parent.mkdir(exist_ok=True)
        grafts.write_text(f"{last} {first}\n", encoding="utf-8")
        assert told(since("HEAD~")) == UNCHANGED

    def test_a_name_of_two_commits(self, repository: Repository) -> None:
        repository.git("branch", "v1")
        repository.commit({f"maps/{name}": demo.after()[name] for name in MAPS})
        repository.git("tag", "v1")
        repository.git("config", "core.warnAmbiguousRefs", "false")
        with pytest.raises(UsageError) as told_:
            read_site("maps", revision="v1")
        assert str(told_.value) == (
            "a revision must name one commit, and git says: refname 'v1' is ambiguous"
        )
        assert told(since("refs/heads/v1"))["SC1-LX"] == "edited identically"

    def test_a_time_before_all_that_is_known(self, repository: Repository) -> None:
        repository.commit({f"maps/{name}": demo.after()[name] for name in MAPS})
        with pytest.raises(UsageError, match="git says: log for 'HEAD' only goes back to "):
            read_site("maps", revision="HEAD@{3 days ago}")

    def test_files_that_look_like_a_repository(self, repository: Repository) -> None:
        """With a HEAD of its own, which holds what was edited."""
        inside = repository.folder / "maps"
        repository.commit({f"maps/{name}": demo.after()[name] for name in MAPS})
        for name in ("HEAD", "config", "objects", "refs"):
            source = repository.folder / ".git" / name
            (shutil.copytree if source.is_dir() else shutil.copy)(source, inside / name)
        repository.git("config", "-f", "maps/config", "core.worktree", ".")
        with pytest.raises(UsageError, match=r"must lie in a work tree of git \(cannot use bare"):
            read_site("maps", revision="HEAD")

    @pytest.mark.parametrize("part", ["", ".", "bin"])
    def test_no_program_of_the_checkout(
        self, repository: Repository, monkeypatch: pytest.MonkeyPatch, part: str
    ) -> None:
        program = repository.folder / part / "git"
        program.parent.mkdir(exist_ok=True)
        program.write_text("#!/bin/sh\ntouch spy\n", encoding="utf-8")
        program.chmod(0o755)
        monkeypatch.setenv("PATH", f"{part}{os.pathsep}{os.environ['PATH']}")
        assert told(since(folder=".")) == UNCHANGED
        assert not (repository.folder / "spy").exists()

    def test_line_ends_of_a_checkout_make_no_difference(self, repository: Repository) -> None:
        for path in (repository.folder / "maps").iterdir():
            path.write_bytes(path.read_bytes().replace(b"\n", b"\r\n"))
        comparison = since()
        assert told(comparison) == UNCHANGED
        assert not comparison.fails()


class TestRefused:
    def test_links(self, repository: Repository) -> None:
        folder = repository.folder / "maps"
        (folder / "sc1-lx.toml").rename(repository.folder / "kept.toml")
        (folder / "sc1-lx.toml").symlink_to("../kept.toml")
        repository.commit()
        assert told(since()) == UNCHANGED
        (repository.folder / "kept.toml").write_text(demo.after()["sc1-lx.toml"], encoding="utf-8")
        assert told(since())["SC1-LX"] == "only one end edited"

    @pytest.mark.parametrize("target", ["/etc/none.toml", "../../none.toml", "loop.toml", "gone"])
    def test_links_that_lead_nowhere(self, repository: Repository, target: str) -> None:
        (repository.folder / "maps" / "loop.toml").symlink_to(target)
        repository.commit()
        before = read_site("maps", revision="HEAD")
        assert [str(one) for one in before.problems] == [
            "HEAD:maps/loop.toml: a map file must be a file of HEAD, not a path to something "
            "else or nothing"
        ]
        (now,) = read_site("maps").problems
        assert now.path == "maps/loop.toml"
        assert since().fails()

    def test_links_to_folders(self, repository: Repository) -> None:
        (repository.folder / "maps" / "again").symlink_to("../maps")
        repository.commit()
        assert [str(one) for one in since().problems] == [
            "HEAD:maps/again: a folder must be no link to be looked into",
            "maps/again: a folder must be no link to be looked into (name the folder itself)",
        ]

    @pytest.mark.parametrize("target", ["../library", "../library/maps", ".."])
    def test_links_to_what_is_not_looked_into(self, repository: Repository, target: str) -> None:
        """What was in there before the link was removed is not known."""
        (repository.folder / "maps" / "more").symlink_to(target)
        head = repository.git("rev-parse", "HEAD")
        repository.git("update-index", "--add", "--cacheinfo", f"160000,{head},library")
        repository.git("add", "maps")
        repository.git("commit", "-q", "-m", "maps: edit")
        (repository.folder / "maps" / "more").unlink()
        assert [str(one) for one in since().problems] == [
            "HEAD:maps/more: a folder must be no link to be looked into"
        ]

    @pytest.mark.parametrize("target", ["../../far", "/far/away", "{tmp_path}/far"])
    def test_links_that_led_out(self, repository: Repository, tmp_path: Path, target: str) -> None:
        """What lies outside is not in the revision; while the link is there, it can be seen."""
        target = target.replace("{tmp_path}", str(tmp_path))
        link = repository.folder / "maps" / "more"
        link.symlink_to(target)
        repository.commit()
        assert since().problems == ()
        told_ = (
            "HEAD:maps/more: a link must lead to what is in the repository, which this one did not "
            "(it may have been a folder of maps: look where it led to)"
        )
        link.unlink()
        assert [str(one) for one in since().problems] == [told_]
        assert since().fails()
        link.symlink_to("sc1-lx.toml")
        assert [str(one) for one in since().problems] == [told_]
        link.unlink()
        link.mkdir()
        assert [str(one) for one in since().problems] == [told_]

    def test_a_link_in_the_repository_that_is_gone(self, repository: Repository) -> None:
        link = repository.folder / "maps" / "notes"
        link.symlink_to("sc1-lx.toml")
        repository.commit()
        link.unlink()
        assert since().problems == ()

    def test_another_link_whose_content_is_missing(self, repository: Repository) -> None:
        link = repository.folder / "maps" / "more"
        link.symlink_to("../../far")
        repository.commit()
        name = repository.git("rev-parse", "HEAD:maps/more")
        (repository.folder / ".git" / "objects" / name[:2] / name[2:]).unlink()
        (problem,) = read_site("maps", revision="HEAD").problems
        assert problem.path == "HEAD:maps/more"

    def test_a_link_whose_content_is_missing(self, repository: Repository) -> None:
        (repository.folder / "maps" / "link.toml").symlink_to("sc1-lx.toml")
        repository.commit()
        name = repository.git("rev-parse", "HEAD:maps/link.toml")
        (repository.folder / ".git" / "objects" / name[:2] / name[2:]).unlink()
        (problem,) = read_site("maps", revision="HEAD").problems
        assert problem.path == "HEAD:maps/link.toml"

    def test_repositories_inside(self, repository: Repository) -> None:
        inner = Repository(repository.folder / "maps" / "inner")
        inner.commit({"sc1.toml": demo.before()["sc1-lx.toml"]})
        repository.commit()
        assert [str(one) for one in read_site("maps", revision="HEAD").problems] == [
            "HEAD:maps/inner: a repository inside the repository must be compared by itself"
        ]
        shutil.rmtree(repository.folder / "maps" / "inner")
        (problem,) = read_site("maps/inner", revision="HEAD").problems
        assert str(problem) == (
            "HEAD:maps/inner: a revision must hold the files of maps/inner, not another "
            "repository there (compare inside that repository)"
        )

    def test_pointers(self, repository: Repository) -> None:
        pointer = f"version x:/spec/v1\noid sha256:{'0' * 64}\nsize 12345\n"
        repository.commit({"maps/sc1-lx.toml": pointer})
        repository.write({"maps/sc1-lx.toml": demo.before()["sc1-lx.toml"]})
        comparison = since()
        assert [str(one) for one in comparison.problems] == [
            "HEAD:maps/sc1-lx.toml: the file must hold a map, not a pointer to content that is "
            "kept elsewhere (fetch the content and commit it as it is)"
        ]
        assert told(comparison)["SC1-LX"] == "not judged"

    def test_sparse_checkouts(self, repository: Repository) -> None:
        repository.commit({"other/note.txt": "kept"})
        repository.git("sparse-checkout", "set", "other")
        assert not (repository.folder / "maps").exists()
        comparison = since()
        assert set(told(comparison).values()) == {"not judged"}
        assert len(comparison.problems) == 6
        assert str(comparison.problems[0]) == (
            "maps/lc1-sc1.toml: the file must be on the disk, not left out by a sparse checkout"
        )
        assert told(since(folder="other")) == {}

    def test_a_file_that_git_passes_over_and_that_is_there_all_the_same(
        self, repository: Repository
    ) -> None:
        repository.git("update-index", "--skip-worktree", "maps/sc1-lx.toml", "maps/lx-sc1.toml")
        after = demo.after()
        repository.write({"maps/sc1-lx.toml": after["sc1-lx.toml"]})
        (repository.folder / "maps" / "lx-sc1.toml").unlink()
        assert [str(one) for one in since().problems] == [
            "maps/lx-sc1.toml: the file must be on the disk, not left out by a sparse checkout"
        ]
        repository.write({"maps/lx-sc1.toml": after["lx-sc1.toml"]})
        comparison = since()
        assert (told(comparison)["SC1-LX"], comparison.problems) == ("edited identically", ())

    def test_repositories_inside_that_are_not_checked_out(
        self, repository: Repository, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        """The maps went into a repository of their own, which a plain clone does not bring."""
        other = Repository(repository.folder.parent / "other")
        other.commit({f"maps/{name}": text for name, text in demo.before().items()})
        repository.git("rm", "-q", "-r", "maps")
        add = ("submodule", "add", "-q", "--name", "x", str(other.folder), "maps")
        repository.git("-c", "protocol.file.allow=always", *add)
        repository.commit()
        repository.git("clone", "-q", str(repository.folder), "../clone")
        monkeypatch.chdir(repository.folder.parent / "clone")
        message = "a repository inside the repository must be checked out to be looked into"
        for folder, shown in ((".", "maps"), ("maps", "maps"), ("maps/maps", "maps/maps")):
            comparison = since("HEAD~", folder=folder)
            assert [str(one) for one in comparison.problems] == [f"{shown}: {message}"]
        update = ("submodule", "update", "-q", "--init")
        repository.git("-C", "../clone", "-c", "protocol.file.allow=always", *update)
        comparison = since("HEAD~", folder=".")
        assert (told(comparison), comparison.problems) == (UNCHANGED, ())
        repository.git("-C", "../clone", "submodule", "deinit", "-q", "-f", "maps")
        repository.git("-C", "../clone", "mv", "maps", ".maps")
        assert not since("HEAD~", folder=".").problems

    def test_an_index_that_cannot_be_read(self, repository: Repository) -> None:
        before = read_site("maps", revision="HEAD")
        (repository.folder / ".git" / "index").write_bytes(b"no index at all, but long enough")
        assert before.connections
        with pytest.raises(UsageError, match="the index of the repository must be readable"):
            read_site("maps", checkout=True)

    def test_maps_that_no_commit_will_hold(
        self, repository: Repository, capsys: pytest.CaptureFixture[str]
    ) -> None:
        """One end was added to git, the other one was forgotten, or is ignored."""
        for name in MAPS:
            (repository.folder / "maps" / name).unlink()
        repository.commit({"maps/.gitignore": "lx-sc1.toml\n"})
        repository.write({f"maps/{name}": demo.before()[name] for name in MAPS})
        repository.git("add", "-A")
        assert since().untracked == ("maps/lx-sc1.toml",)
        for format_ in ("text", "markdown", "html"):
            assert main(["diff", "--since", "HEAD", "--format", format_, "maps"]) == 1
            out = " ".join(capsys.readouterr().out.split()).replace("\\", "")
            assert "not added to git, so the next commit lacks: maps/lx-sc1.toml" in out
            assert "open: 1 file not added to git" in out
        repository.git("add", "-f", "maps/lx-sc1.toml")
        assert not since().untracked
        assert main(["diff", "--since", "HEAD", "maps"]) == 0

    @pytest.mark.parametrize("folder", ["", "{}/"])
    def test_maps_that_a_commit_of_some_files_will_not_hold(
        self, repository: Repository, monkeypatch: pytest.MonkeyPatch, folder: str
    ) -> None:
        """Git runs the hook with the index of that commit."""
        own = repository.folder / ".git"
        shutil.copy(own / "index", own / "next-index-7.lock")
        repository.write({"maps/new.toml": demo.before()["sc1-lx.toml"].replace("SC1-LX", "N")})
        repository.git("add", "-A")
        assert not since().untracked
        index = f"{folder.format(repository.folder)}.git/next-index-7.lock"
        monkeypatch.setenv("GIT_INDEX_FILE", index)
        assert since().untracked == ("maps/new.toml",)

    def test_a_plant_and_its_maps_that_no_commit_will_hold(self, repository: Repository) -> None:
        rows = '{ ends = ["../maps/x.toml", "../new/x.toml"] }'
        text = f'format = "safeframe-plant/1"\nname = "hall"\nconnections = [{rows}]\n'
        repository.commit({"maps/x.toml": demo.before()["sc1-lx.toml"]})
        repository.write({"new/x.toml": demo.before()["lx-sc1.toml"], "site/plant.toml": text})
        nested = Repository(repository.folder / "nested")
        nested.commit({"maps/sc1-lx.toml": demo.before()["sc1-lx.toml"]})
        assert read_site("site/plant.toml", checkout=True).untracked == (
            "new/x.toml",
            "site/plant.toml",
        )
        assert read_site(".", checkout=True).untracked == (
            "nested/maps/sc1-lx.toml",
            "new/x.toml",
            "site/plant.toml",
        )

    @pytest.mark.parametrize("more", [1, 1 << 20])
    def test_files_that_are_too_large(self, repository: Repository, more: int) -> None:
        repository.commit({"maps/large.toml": "#" * ((1 << 20) + more)})
        assert [str(one) for one in since().problems] == [
            f"{state}maps/large.toml: a map file must be at most 1048576 octets, "
            f"not {1048576 + more}"
            for state in ("HEAD:", "")
        ]

    def test_what_is_known_is_not_read_again(self, repository: Repository) -> None:
        known = read_site("maps")
        again = read_site("maps", known=known)
        assert [a.end is b.end for a, b in zip(known.files, again.files, strict=True)] == [True] * 6

    def test_a_content_that_is_broken_off(
        self, repository: Repository, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        real = shutil.which("git")
        fake = repository.folder / "bin" / "git"
        fake.parent.mkdir()
        fake.write_text(
            '#!/bin/sh\ncase "$*" in\n*--batch*) read x; printf "%s blob 99\\nabc" "$x"; exit;;\n'
            "esac\n"
            f'exec "{real}" "$@"\n',
            encoding="utf-8",
        )
        fake.chmod(0o755)
        monkeypatch.setenv("PATH", f"{fake.parent}:{os.environ['PATH']}")
        problems = read_site("maps", revision="HEAD").problems
        assert len(problems) == 6
        assert {one.message for one in problems} == {
            "the content must be in the repository, not broken off"
        }

    def test_a_process_that_ended(self, repository: Repository) -> None:
        script = repository.folder / "git"
        script.write_text('#!/bin/sh\nread x; printf "x blob 3\\nabc\\n"\n', encoding="utf-8")
        script.chmod(0o755)
        contents = Contents([str(script)], str(repository.folder))
        entry = GitEntry("100644", "blob", "0" * 40)
        assert contents.octets(entry, path="a.toml") == b"abc"
        time.sleep(0.5)
        with pytest.raises(safeframe.InputError, match="the content must be in the repo"):
            contents.octets(entry, path="a.toml")
        assert contents.octets(entry, path="a.toml") == b"abc"
        contents.close()

    def test_a_folder_that_may_not_be_read(
        self, repository: Repository, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        (repository.folder / "maps" / "closed").mkdir()
        real = os.scandir

        def scandir(path: str) -> Any:
            if path.endswith("closed"):
                raise PermissionError(13, "Permission denied")
            return real(path)

        monkeypatch.setattr(os, "scandir", scandir)
        assert [str(one) for one in read_site("maps").problems] == [
            "maps/closed: the folder must be readable: Permission denied"
        ]


class TestFolders:
    def test_what_is_no_map_is_named(self, repository: Repository) -> None:
        repository.write(
            {
                "maps/pyproject.toml": "[project]\nname = 'x'\n",
                "maps/list.csv": "a,b\n1,2\n",
                "maps/my-plant.toml": "x = 1\n",
                "maps/own.toml": 'format = "safeframe-profile/1"\n',
                "maps/.hidden.toml": "broken",
                "maps/notes.txt": "x",
            }
        )
        comparison = since()
        assert comparison.others == ("list.csv", "my-plant.toml", "own.toml", "pyproject.toml")
        assert (told(comparison), comparison.problems) == (UNCHANGED, ())
        assert not comparison.fails()

    @pytest.mark.parametrize(
        "text",
        ["x = \n", "", 'format = "safeframe-map/9"\n', "[end]\nname = 'SC1'\n", "x = '\udcff'\n"],
    )
    def test_what_may_be_a_map_must_be_read(self, repository: Repository, text: str) -> None:
        path = repository.folder / "maps" / "odd.toml"
        path.write_bytes(text.encode("utf-8", "surrogateescape"))
        comparison = since()
        assert {one.path for one in comparison.problems} == {"maps/odd.toml"}
        assert comparison.fails()

    @pytest.mark.parametrize(
        ("name", "text"),
        [
            ("odd.csv", "sep=,\ndirection,at,name,value\nformat,,,safeframe-map/1\n"),
            ("odd.csv", '\n,,\n"direction",at,name,value\nsends,00,x,\n'),
            ("odd.csv", "Map of SC1\ndirection,at,name,value\nformat,,,safeframe-map/1\n"),
            ("odd.toml", 'format = "safeframe-Map/1"\nend = { name = "SC1" }\n'),
            ("odd.toml", 'format = "safeframe-plan/1"\n[[sends]]\nat = "0.0"\n'),
            ("odd-plant.toml", 'format = "safeframe-map/1"\n'),
            ("odd-plant.toml", '[connection]\nname = "SC1-LX"\n'),
            ("odd-plant.toml", "x = \n"),
        ],
    )
    def test_a_map_spelt_wrongly_is_not_something_else(
        self, repository: Repository, name: str, text: str
    ) -> None:
        """A map that cannot be read must never pass for a file that is nobody's business."""
        repository.write({f"maps/{name}": text})
        comparison = since()
        assert {one.path for one in comparison.problems} == {f"maps/{name}"}
        assert comparison.others == ()
        assert comparison.fails()

    def test_a_plant_of_another_name_that_cannot_be_read(self, repository: Repository) -> None:
        (repository.folder / "maps" / "a-plant.toml").symlink_to("gone.toml")
        assert [one.path for one in since().problems] == ["maps/a-plant.toml"]

    def test_other_files_of_this_program_are_no_maps(self, repository: Repository) -> None:
        columns = 'format = "safeframe-columns/1"\nsends = ["von LX"]\nreceives = []\n'
        repository.write({"maps/columns.toml": columns})
        assert (since().others, since().problems) == (("columns.toml",), ())

    def test_an_empty_table_may_be_a_map(self, repository: Repository) -> None:
        repository.write({"maps/empty.csv": "\n"})
        assert [one.path for one in since().problems] == ["maps/empty.csv"]

    def test_a_map_that_became_something_else(self, repository: Repository) -> None:
        repository.write({"maps/sc1-lx.toml": "x = 1\n"})
        comparison = since()
        assert [str(one) for one in comparison.problems] == [
            "sc1-lx.toml (maps): the file must hold a map, as it does before, and is plainly "
            "something else"
        ]
        assert told(comparison)["SC1-LX"] == "not judged"
        assert comparison.others == ()
        repository.commit()
        repository.write({"maps/sc1-lx.toml": demo.before()["sc1-lx.toml"]})
        assert told(since())["SC1-LX"] == "not judged"

    def test_ends_in_two_folders(self, repository: Repository) -> None:
        for name in ("controller", "devices"):
            (repository.folder / "maps" / name).mkdir()
        for path in sorted((repository.folder / "maps").glob("*.toml")):
            path.rename(path.parent / ("controller", "devices")[path.name[0] == "l"] / path.name)
        comparison = since()
        assert told(comparison) == UNCHANGED
        assert all(len(row.moved) == 2 for row in comparison.rows)

    def test_the_same_connections_in_several_folders(self, tmp_path: Path) -> None:
        for state in ("before", "after"):
            for hall in ("hall 1", "hall 2"):
                folder = tmp_path / state / hall
                folder.mkdir(parents=True)
                for name in MAPS:
                    (folder / name).write_text(demo.before()[name], encoding="utf-8")
        (tmp_path / "after" / "hall 2" / "lx-sc1.toml").write_text(
            demo.after()["lx-sc1.toml"], encoding="utf-8"
        )
        comparison = compare_sites(read_site(tmp_path / "before"), read_site(tmp_path / "after"))
        assert [(row.ends[0].paths, row.change) for row in comparison.rows] == [
            (("hall 1/lx-sc1.toml",) * 2, "unchanged"),
            (("hall 2/lx-sc1.toml",) * 2, "only one end edited"),
        ]
        assert comparison.findings == ()

    def test_nothing_at_all(self, tmp_path: Path) -> None:
        comparison = compare_sites(read_site(tmp_path), read_site(tmp_path))
        assert (comparison.rows, comparison.fails()) == ((), True)

    def test_no_folder(self, tmp_path: Path) -> None:
        with pytest.raises(UsageError, match="a site must be a folder or a plant file, not "):
            read_site(tmp_path / "none")

    def test_above_a_link_is_the_folder_above_where_it_leads(
        self, repository: Repository, tmp_path: Path
    ) -> None:
        """There the demo is after its edit, beside the link it is before it."""
        far = tmp_path / "far"
        for folder in ("maps", "site"):
            (far / folder).mkdir(parents=True)
        for name, text in demo.after().items():
            (far / "maps" / name).write_text(text, encoding="utf-8")
        ends = ", ".join(f'"../maps/{name}"' for name in MAPS)
        text = f'format = "safeframe-plant/1"\nname = "h"\nconnections = [{{ ends = [{ends}] }}]\n'
        (far / "site" / "plant.toml").write_text(text, encoding="utf-8")
        (repository.folder / "link").symlink_to(far / "site")
        near = read_site("maps")
        for path in ("link/plant.toml", "link/../maps"):
            assert ("SC1-LX", "edited identically") in changes(near, read_site(path)), path
        assert read_site("link/plant.toml").files[0].shown == "link/../maps/sc1-lx.toml"
        with pytest.raises(UsageError, match="must be the folder itself, not a link"):
            read_site("link/../maps", revision="HEAD")

    @pytest.fixture
    def linked(self, repository: Repository) -> Repository:
        """A repository whose plant file leads through a link to a folder, and back."""
        folder = repository.folder
        (folder / "far/site").mkdir(parents=True)
        for name in MAPS:
            repository.write({f"far/{name}": demo.after()[name]})
        (folder / "maps/link").symlink_to("../far/site")
        text = LX_PLANT.replace('"sc1', '"link/../sc1').replace('"lx', '"link/.//../lx')
        repository.write({"maps/plant.toml": text})
        return repository

    def test_a_plant_file_leads_where_the_system_leads(self, linked: Repository) -> None:
        """What is read and shown MUST be what the system opens, not another file of its name."""
        near = read_site("maps", revision="HEAD")
        for path, files in (
            ("maps/plant.toml", ("far/sc1-lx.toml", "far/lx-sc1.toml")),
            ("./plant.toml", ("../far/sc1-lx.toml", "../far/lx-sc1.toml")),
        ):
            if path.startswith("./"):
                os.chdir("maps")
            state = read_site(path)
            assert tuple(one.shown for one in state.files) == files
            assert ("SC1-LX", "edited identically") in changes(near, state)
            assert state.problems == ()

    def test_so_does_one_of_a_revision(self, linked: Repository) -> None:
        linked.commit()
        state = read_site("maps/plant.toml", revision="HEAD")
        shown = ("HEAD:far/sc1-lx.toml", "HEAD:far/lx-sc1.toml")
        assert tuple(one.shown for one in state.files) == shown
        assert state.problems == ()
        assert set(told(since(folder="maps/plant.toml")).values()) == {"unchanged"}

    @pytest.mark.parametrize(
        ("target", "name"), [("../../far", "link/../x.toml"), ("link", "link/../x.toml")]
    )
    def test_a_link_of_a_revision_that_leads_out(
        self, repository: Repository, target: str, name: str
    ) -> None:
        (repository.folder / "maps/link").symlink_to(target)
        repository.write({"maps/plant.toml": LX_PLANT.replace("sc1-lx.toml", name)})
        repository.commit()
        (problem,) = read_site("maps/plant.toml", revision="HEAD").problems
        assert str(problem) == (
            f"HEAD:maps/{posixpath.normpath(name)}: a path must not lead back out of a link that "
            "leads out of HEAD"
        )

    @pytest.mark.parametrize("name", ["/far/x.toml", "../../x.toml", "../../../x.toml"])
    def test_a_path_of_a_revision_that_leads_out(self, repository: Repository, name: str) -> None:
        repository.write({"maps/plant.toml": LX_PLANT.replace("sc1-lx.toml", name)})
        repository.commit()
        (problem,) = read_site("maps/plant.toml", revision="HEAD").problems
        assert "must be a file of HEAD, not a path to something else or nothing" in str(problem)

    def test_one_folder_inside_the_other(self, repository: Repository) -> None:
        assert set(dict(changes(read_site("."), read_site("maps"))).values()) == {"unchanged"}


PLANT = """\
format = "safeframe-plant/1"
name = "hall 3"
connections = [
  { ends = ["a.toml", "b.csv"], record = "none.json", later = 1 },
  { ends = ["b.csv", "a.toml"] },
]
"""


class TestPlants:
    @pytest.fixture
    def plant(self, repository: Repository) -> Repository:
        maps = {f"maps/{name}": demo.before()[old] for name, old in zip("ab", MAPS, strict=True)}
        csv = safeframe.dumps(safeframe.loads(maps["maps/b"]), format="csv")
        shutil.rmtree(repository.folder / "maps")
        repository.commit(
            {"maps/plant.toml": PLANT, "maps/a.toml": maps["maps/a"], "maps/b.csv": csv}
        )
        return repository

    def test_pairs_are_those_of_the_plant(self, plant: Repository) -> None:
        for path in ("maps", "maps/plant.toml"):
            state = read_site(path)
            assert [one.first.where.path for one in state.connections] == ["maps/a.toml"]
            assert (state.problems, state.alone) == ((), ())
            assert told(since(folder=path)) == {"SC1-LX": "unchanged"}

    def test_ends_that_do_not_name_each_other(self, plant: Repository) -> None:
        text = demo.before()["sc1-lx.toml"].replace('peer = "LX"', 'peer = "LY"')
        plant.write({"maps/a.toml": text.replace('"SC1-LX"', '"OTHER"')})
        assert told(since()) == {"OTHER": "only one end edited"}

    def test_a_map_that_is_not_there(self, plant: Repository) -> None:
        (plant.folder / "maps" / "b.csv").unlink()
        for path in ("maps", "maps/plant.toml"):
            comparison = since(folder=path)
            assert told(comparison) == {"SC1-LX": "not judged"}
            assert [one.path for one in comparison.problems] == ["maps/b.csv"]
        plant.commit()
        (problem,) = read_site("maps", revision="HEAD").problems
        assert str(problem) == (
            "HEAD:maps/b.csv: a map file must be a file of HEAD, not a path to something else "
            "or nothing"
        )

    def test_a_file_that_is_no_map(self, plant: Repository) -> None:
        plant.write({"maps/b.csv": "a,b\n"})
        assert [str(one) for one in read_site("maps").problems] == [
            "maps/b.csv: a plant file must list maps, and this is none"
        ]

    @pytest.mark.parametrize(
        "rows", ["3", "[1]", "[{}]", '[{ ends = ["a.toml"] }]', '[{ ends = ["a.toml", 1] }]', "[]"]
    )
    def test_a_plant_that_lists_nothing(self, plant: Repository, rows: str) -> None:
        plant.write({"maps/plant.toml": f"connections = {rows}\n"})
        assert [str(one) for one in read_site("maps").problems] == [
            "maps/plant.toml: connections: connections must be an array of tables, each with "
            "ends = [MAP, MAP]"
        ]
        assert told(since()) == {"SC1-LX": "unchanged"}

    def test_a_plant_that_lists_maps_outside(self, plant: Repository) -> None:
        (plant.folder / "maps" / "sub").mkdir()
        plant.write({"maps/sub/plant.toml": PLANT.replace('"a', '"../a').replace('"b', '"../b')})
        plant.commit()
        (plant.folder / "maps" / "plant.toml").unlink()
        assert told(since(folder="maps/sub")) == {"SC1-LX": "unchanged"}
        assert told(since(folder="maps/sub/plant.toml")) == {"SC1-LX": "unchanged"}
        assert told(since()) == {"SC1-LX": "unchanged"}


def test_git_is_found_by_these_tests() -> None:
    assert subprocess.run(["git", "--version"], capture_output=True, check=True).stdout
