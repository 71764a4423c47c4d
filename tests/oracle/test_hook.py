"""The hook as its users run it: pre-commit installs it from a clone of these sources."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from safeframe import _demo as demo

pytestmark = pytest.mark.oracle
ROOT = Path(__file__).resolve().parent.parent.parent
WHO = ("-c", "user.name=A. Berg", "-c", "user.email=a.berg@lift.invalid")
SOURCES = (
    "safeframe",
    "vectors",
    "README.md",
    "LICENSE",
    "pyproject.toml",
    ".pre-commit-hooks.yaml",
)


def run(folder: Path, *words: str, **environ: str) -> subprocess.CompletedProcess[str]:
    kept = {key: value for key, value in os.environ.items() if not key.startswith("GIT_")}
    kept |= {"GIT_CONFIG_GLOBAL": os.devnull, "GIT_CONFIG_SYSTEM": os.devnull, **environ}
    return subprocess.run(words, cwd=folder, env=kept, capture_output=True, text=True, check=False)


def commit(folder: Path, **environ: str) -> subprocess.CompletedProcess[str]:
    run(folder, "git", "add", "-A").check_returncode()
    return run(folder, "git", *WHO, "commit", "-q", "-m", "maps: edit", **environ)


def test_the_hook_stops_a_commit_with_findings(tmp_path: Path) -> None:
    tool = shutil.which("pre-commit") or shutil.which(
        "pre-commit", path=Path(sys.executable).parent
    )
    if tool is None:
        if os.environ.get("CI"):
            pytest.fail("pre-commit must be installed in CI")
        pytest.skip("pre-commit is not installed")
    sources, site = tmp_path / "safeframe", tmp_path / "site"
    sources.mkdir()
    for name in SOURCES:
        if (ROOT / name).is_dir():
            shutil.copytree(
                ROOT / name, sources / name, ignore=shutil.ignore_patterns("__pycache__")
            )
        else:
            shutil.copy(ROOT / name, sources / name)
    run(sources, "git", "init", "-q").check_returncode()
    commit(sources).check_returncode()
    page = (ROOT / "docs" / "outputs.md").read_text(encoding="utf-8")
    (config,) = re.findall(r"```text\n(repos:\n.*?)```", page, re.DOTALL)
    (release,) = re.findall(r"rev: (\S+)", config)
    run(sources, "git", "tag", release).check_returncode()

    (site / "maps").mkdir(parents=True)
    run(site, "git", "init", "-q").check_returncode()
    (site / ".pre-commit-config.yaml").write_text(config, encoding="utf-8")
    for name, text in demo.after().items():
        (site / "maps" / name).write_text(text, encoding="utf-8")
    cache = {"PRE_COMMIT_HOME": str(tmp_path / "cache")}
    installed = run(site, tool, "install", "--install-hooks", **cache)
    if installed.returncode and not os.environ.get("CI"):
        pytest.skip("pre-commit could not install the hook; it fetches build dependencies")
    assert installed.returncode == 0, installed.stdout + installed.stderr
    done = commit(site, SKIP="safeframe-diff", **cache)  # There is no commit to compare with yet.
    assert done.returncode == 0, done.stdout + done.stderr

    (site / "maps" / "lx-sc1.toml").write_text(demo.before()["lx-sc1.toml"], encoding="utf-8")
    done = commit(site, **cache)
    assert done.returncode == 1
    assert "one-sided-signal" in done.stdout + done.stderr
    assert "edited at one end only" in done.stdout + done.stderr
    (site / "maps" / "lx-sc1.toml").write_text(demo.after()["lx-sc1.toml"], encoding="utf-8")
    (site / "notes.txt").write_text("no map changes", encoding="utf-8")
    assert commit(site, **cache).returncode == 0

    # A map that is only deleted, and one with another name that is not of ASCII.
    (site / "maps" / "lx-sc1.toml").rename(site / "maps" / "größe.toml")
    assert commit(site, **cache).returncode == 0
    (site / "maps" / "größe.toml").unlink()
    done = commit(site, **cache)
    assert done.returncode == 1
    assert "with one end only" in done.stdout + done.stderr
