"""What a revision of a git repository holds, read through the plumbing of the program git.

Nothing is checked out, no hook and no filter is run, nothing is fetched and no file of the
repository is written: ``rev-parse``, ``ls-tree``, ``ls-files`` and ``cat-file`` only look.
"""

from __future__ import annotations

import os
import posixpath
import re
import shutil
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import IO, NamedTuple

from .._document.reader import MAX_FILE_OCTETS
from .._errors import InputError, Problem, UsageError

_OBJECT = re.compile(r"[0-9a-f]{40}(?:[0-9a-f]{24})?")
_KEPT = frozenset(
    {
        "GIT_CEILING_DIRECTORIES",
        "GIT_CONFIG_GLOBAL",
        "GIT_CONFIG_NOSYSTEM",
        "GIT_CONFIG_SYSTEM",
        "GIT_DISCOVERY_ACROSS_FILESYSTEM",
        "GIT_EXEC_PATH",
    }
)
"""What the user says of git as a whole. All else would lead away from the folder that is asked for:
a hook, for instance, runs with the index and the folder of its own repository set."""
_STRICT = (
    "--no-pager",
    "--no-replace-objects",  # What the revision is, not what somebody put in its place.
    "--literal-pathspecs",
    *("-c", "core.fsmonitor=false"),
    *("-c", f"core.hooksPath={os.devnull}"),
    # Files of a commit can look like a repository of their own.
    *("-c", "safe.bareRepository=explicit"),
    *("-c", "core.warnAmbiguousRefs=true"),
)
_HERE = ("HEAD", "@")
"""Names of the commit that is checked out, which a new repository or branch has not."""
_DOUBTS = ("is ambiguous", "only goes back to")
"""What git warns of where it takes one of several commits, or one that nobody asked for."""

_SETTINGS = {
    "LC_ALL": "C",
    "GIT_TERMINAL_PROMPT": "0",
    "GIT_OPTIONAL_LOCKS": "0",
    # Objects that a partial clone lacks are not fetched: no program and no network for it.
    "GIT_NO_LAZY_FETCH": "1",
    "GIT_ALLOW_PROTOCOL": "none",
    # Parents that somebody put in the place of those of a commit, as replaced objects above. Of a
    # file that is there git says that it is deprecated.
    "GIT_GRAFT_FILE": f"{os.devnull}/none",
}


class GitEntry(NamedTuple):
    """One entry of a revision: its mode, its kind (``blob`` or ``commit``) and its object."""

    mode: str
    kind: str
    object: str

    @property
    def is_link(self) -> bool:
        """Whether it is a symbolic link."""
        return self.mode == "120000"


class GitRevision(NamedTuple):
    """A revision as seen from one folder of its work tree.

    ``prefix`` is the folder's path from the top of the repository, empty or with a slash at its
    end; ``entries`` are all files of the revision by their path from the top. ``name`` is empty
    before the first commit.
    """

    name: str
    program: str
    folder: str
    prefix: str
    entries: dict[str, GitEntry]

    @contextmanager
    def contents(self) -> Iterator[Contents]:
        """Start the process that hands out contents, and end it."""
        contents = Contents([self.program, *_STRICT, "cat-file", "--batch"], self.folder)
        try:
            yield contents
        finally:
            contents.close()


class Contents:
    """The contents of objects, one after the other, handed out by one process."""

    def __init__(self, command: list[str], folder: str) -> None:
        self._command, self._folder = command, folder
        self._process: subprocess.Popen[bytes] | None = None

    def _running(self) -> tuple[IO[bytes], IO[bytes]]:
        """Return where to ask and where the answer comes; git may have given up on an object."""
        if self._process is None:
            self._process = subprocess.Popen(
                self._command,
                cwd=self._folder,
                env=_environ(),
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
            )
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        return self._process.stdin, self._process.stdout

    def close(self) -> None:
        """End the process; it may be in the middle of a content that nobody wants."""
        process, self._process = self._process, None
        if process is not None:
            process.kill()
            with suppress(OSError), process:
                pass

    def octets(self, entry: GitEntry, *, path: str, what: str = "map file") -> bytes:
        """Return the octets of an object of at most as many as a file may have.

        Raises InputError for one that is larger, or that the repository does not hold.
        """
        ask, answer = self._running()
        try:
            ask.write(f"{entry.object}\n".encode())
            ask.flush()
            head = answer.readline().split()
        except OSError:
            head = []
        if len(head) != 3 or head[1] != b"blob":
            self.close()
            message = "the content must be in the repository, not missing"
            raise InputError(Problem(path=path, message=message, remedy="fetch it with git"))
        size = int(head[2])
        octets = b""
        left = size + 1  # A line feed follows.
        while left:
            part = answer.read(min(left, 1 << 16))
            if not part:
                self.close()
                message = "the content must be in the repository, not broken off"
                raise InputError(Problem(path=path, message=message))
            left -= len(part)
            if len(octets) <= MAX_FILE_OCTETS:
                octets += part
        if size > MAX_FILE_OCTETS:
            message = f"a {what} must be at most {MAX_FILE_OCTETS} octets, not {size}"
            raise InputError(Problem(path=path, message=message))
        return octets[:size]


def open_revision(folder: str, revision: str) -> GitRevision:
    """Find a revision in the repository that a folder lies in; the folder may be gone by now.

    Raises UsageError without git, outside a work tree, and for a revision that is not there.
    """
    if not revision or revision.startswith("-") or not revision.isprintable():
        raise UsageError(f"a revision must be the name of a commit, not {revision!r}")
    program, start, _, prefix, shallow = _worktree(folder)
    code, told, words = _run(program, start, "rev-parse", "--verify", f"{revision}^{{commit}}")
    commit = told.strip()
    if code and revision in _HERE and _unborn(program, start):
        return GitRevision("", program, start, prefix, {})
    if code or not _OBJECT.fullmatch(commit):
        raise UsageError(_unknown(revision, shallow=shallow))
    doubts = [line for line in words.splitlines() if any(doubt in line for doubt in _DOUBTS)]
    if doubts:
        told = doubts[0].removeprefix("warning: ").removesuffix(".")
        raise UsageError(f"a revision must name one commit, and git says: {told}")
    code, told, words = _run(program, start, "ls-tree", "-r", "-z", "--full-tree", commit)
    if code:
        raise UsageError(f"the files of {revision} must be in the repository{_reason(words)}")
    return GitRevision(revision, program, start, prefix, dict(_entries(told)))


def _unborn(program: str, folder: str) -> bool:
    """Tell whether a branch is checked out that has no commit yet: not even a broken one."""
    code, branch, _ = _run(program, folder, "symbolic-ref", "--quiet", "HEAD")
    if code:
        return False
    name = branch.removesuffix("\n")
    code, told, words = _run(program, folder, "for-each-ref", "--format=%(refname)", name)
    return not (code or told or words)


class Checkout(NamedTuple):
    """How the files of a folder differ from those that git holds, by paths below the folder.

    ``left_out`` are files that a sparse checkout does not put on the disk, ``empty`` repositories
    inside this one that are not checked out, "" for one around the folder; ``untracked`` are files
    on the disk that git does not hold, folders of them with a slash at the end.
    """

    left_out: list[str]
    empty: list[str]
    untracked: list[str]


def open_checkout(folder: str, *, whole: bool) -> Checkout:
    """Look at the files below a folder, or with ``whole`` at all of the repository around it."""
    program, start, up, prefix, _ = _worktree(folder)
    top = os.path.join(start, up)  # noqa: PTH118
    words = ("ls-files", "-t", "-z", "--stage", "--full-name", "--cached", "--others")
    index = _index(program, top)
    code, told, said = _run(program, top if whole else start, *words, index=index)
    if code:
        raise UsageError(f"the index of the repository must be readable{_reason(said)}")
    found = Checkout([], [], [])
    for line in filter(None, told.split("\0")):
        tag, _, rest = line.partition(" ")
        head, _, path = ("", "", rest) if tag == "?" else rest.partition("\t")
        if head.startswith("160000"):
            related = f"{path}/".startswith(prefix) or prefix.startswith(f"{path}/")
            if related and not os.path.lexists(os.path.join(top, path, ".git")):  # noqa: PTH118
                found.empty.append(path[len(prefix) :])
        elif tag == "?":
            below = posixpath.relpath(f"/{path}", f"/{prefix}")
            found.untracked.append(f"{below}/" if path.endswith("/") else below)
        elif tag == "S" and path.startswith(prefix):
            found.left_out.append(path[len(prefix) :])
    return found


def _index(program: str, top: str) -> str:
    """Return the index of the commit that a hook of this repository is run for, else nothing.

    Where only some files are committed, it is another than that of the repository.
    """
    named = os.environ.get("GIT_INDEX_FILE")
    if not named:
        return ""
    code, told, _ = _run(program, top, "rev-parse", "--absolute-git-dir")
    given = os.path.join(top, named)  # noqa: PTH118
    own = os.path.realpath(told.removesuffix("\n"))
    is_own = os.path.realpath(os.path.dirname(given)) == own  # noqa: PTH120
    return os.path.abspath(given) if is_own and not code else ""  # noqa: PTH100


def _worktree(folder: str) -> tuple[str, str, str, str, bool]:
    """Return git, the nearest folder that is there, the way up, what stands before paths, shallow.

    Raises UsageError without git and outside a work tree.
    """
    # A part of the path that is relative may lead to a program of the checkout.
    program = shutil.which("git", path=os.pathsep.join(filter(os.path.isabs, os.get_exec_path())))
    if program is None or not os.path.isabs(program):  # noqa: PTH117
        raise UsageError("to read a revision, the program git must be on the path, and is not")
    start, gone = _nearest(folder)
    code, told, words = _run(
        program,
        start,
        *("rev-parse", "--is-inside-work-tree", "--is-shallow-repository"),
        *("--show-cdup", "--show-prefix"),
    )
    inside, _, rest = told.partition("\n")
    shallow, _, rest = rest.partition("\n")
    up, _, prefix = rest.partition("\n")
    if code or inside != "true":
        raise UsageError(
            f"to read a revision, {folder} must lie in a work tree of git{_reason(words)}"
        )
    _refuse_links(folder, start, up)
    prefix = prefix.removesuffix("\n") + "".join(f"{part}/" for part in gone)
    return program, start, up, prefix, shallow == "true"


def _refuse_links(folder: str, start: str, up: str) -> None:
    """Raise UsageError where a link of the work tree leads to the folder, or to one below it.

    A revision has other files under the name that was typed than where the link leads to now.
    """
    top = os.path.join(start, up)  # noqa: PTH118
    path = start
    links = int(os.path.realpath(folder) != os.path.realpath(os.path.abspath(folder)))  # noqa: PTH100
    while not os.path.samefile(path, top):  # noqa: PTH121
        links += os.path.islink(path)  # noqa: PTH114
        path, name = os.path.split(path)
        if not name:
            return  # The link that led into the work tree lies outside of it.
    if links:
        raise UsageError(f"to read a revision, {folder} must be the folder itself, not a link")


def _reason(words: str) -> str:
    line = words.strip().partition("\n")[0].removeprefix("fatal: ")
    return f" ({line})" if line else ""


def _nearest(folder: str) -> tuple[str, list[str]]:
    """Return the nearest folder that is there, and the names below it that are not."""
    gone: list[str] = []
    start = os.path.abspath(folder)  # noqa: PTH100  (names may be of any octets)
    while not os.path.isdir(start):  # noqa: PTH112
        start, name = os.path.split(start)
        gone.insert(0, name)
    return start, gone


def _unknown(revision: str, *, shallow: bool) -> str:
    message = f"a revision must be a commit of this repository, not {revision}"
    if shallow:
        message += (
            "; this clone is shallow and may end before it (git fetch --unshallow gets the rest)"
        )
    return message


def _entries(told: str) -> Iterator[tuple[str, GitEntry]]:
    for line in told.split("\0"):
        if line:
            head, _, path = line.partition("\t")
            mode, kind, name = head.split()
            yield path, GitEntry(mode, kind, name)


def _run(program: str, folder: str, *words: str, index: str = "") -> tuple[int, str, str]:
    try:
        run = subprocess.run(
            [program, *_STRICT, *words],
            cwd=folder,
            env=_environ() | ({"GIT_INDEX_FILE": index} if index else {}),
            stdin=subprocess.DEVNULL,
            capture_output=True,
            check=False,
        )
    except OSError as error:
        raise UsageError(f"{program} must run: {error.strerror or error}") from None
    return run.returncode, os.fsdecode(run.stdout), os.fsdecode(run.stderr)


def _environ() -> dict[str, str]:
    kept = {
        name: value
        for name, value in os.environ.items()
        if not name.startswith("GIT_") or name in _KEPT
    }
    return kept | _SETTINGS
