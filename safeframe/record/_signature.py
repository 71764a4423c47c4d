"""Detached signatures of a record: the exact text that is signed, and what ssh-keygen says of it.

No key is made, kept or read here. The program of the desk signs (``ssh-keygen -Y sign``) and
judges (``ssh-keygen -Y verify``), by the file of allowed signers that the caller names and no
other: one that came with the maps could hold anybody's key.
"""

from __future__ import annotations

import json
import os
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import product
from pathlib import Path
from typing import NamedTuple

from .._document.reader import read_text
from .._errors import UsageError
from .._fingerprint import digest
from .._words import count
from ._assess import Assessment, Signature
from ._editions import digest_of
from ._entries import ApprovalAct, link_faults
from ._parts import Record
from ._people import acts_of, approvals, state_number

NAMESPACE = "safeframe-record"
"""The namespace of the signatures (``ssh-keygen -n``): one made for something else is refused."""

_FORMAT = "safeframe-record-seal/1"
_PROGRAM = "ssh-keygen"
_MAX_OCTETS = 1 << 20
_MOST_FILES = 100
_MOST_STATES = 400
"""So many states of a history are tried for a signature: some milliseconds each."""
_PATIENCE_S = 10.0
_GOOD = re.compile(r'^Good ".*" signature for .* with (.+)$', re.MULTILINE)


def seal(record: Record) -> str:
    """Return the last seal of a record, which covers all of it: what the next entry follows."""
    return record.history[-1].seal if record.history else record.computed_sha256


def seal_text(record: Record) -> str:
    """Return the text to be signed, ASCII, ending in a line feed; equal for equal records.

    Raises UsageError where the seals of the record do not hold together.
    """
    faults = list(link_faults(record.history, record.computed_sha256))
    if digest_of(record.computed) != record.computed_sha256:
        faults.insert(0, "the computed part was edited")
    if faults:
        raise UsageError(f"a record must be whole to be signed, not: {faults[0]}")
    return _text(record, len(record.history))


def _text(record: Record, entries: int) -> str:
    """Return the text to be signed after so many entries."""
    history = record.history[:entries]
    lines = [
        _FORMAT,
        f"connection {_quoted(record.computed.connection)}",
        f"computed {record.computed_sha256}",
        f"entries {entries}",
        f"last {seal(replace(record, history=history))}",
    ]
    lines += (
        f"approval {', '.join(map(_quoted, (act.who, act.role, act.when)))}"
        for act in approvals(history).values()
    )
    return "\n".join(lines) + "\n"


def _quoted(text: str) -> str:
    # A number sign could make a line a command for a build system, which the output then escapes.
    return json.dumps(text).replace("#", "\\u0023")


def signatures(
    path: str | os.PathLike[str],
    record: Record,
    *,
    signers: str = "",
    signed_by: Sequence[str] = (),
    beside: Iterable[str] | None = None,
) -> tuple[Signature, ...]:
    """Return the signature files of a record and whether ssh-keygen accepts them.

    They lie beside it and are called ``RECORD.sig`` or ``RECORD.NAME.sig``. ``signers`` is the
    file of allowed signers (ssh-keygen, ALLOWED SIGNERS); without it nothing is checked.
    ``signed_by`` are names that the program is asked about, besides those that it tells by itself:
    a line of the file may be a pattern. ``beside`` are the names in the folder of the record, where
    they are known already. Raises InputError for files that cannot be read, UsageError where the
    program is missing.
    """
    files = list(_beside(os.fspath(path), beside))
    if not signers:
        return tuple(
            Signature(path=file, words="not checked: no file of allowed signers was named")
            for file in files
        )
    text = _read(signers)
    told = f"{signers}, SHA-256 {digest(text.encode())}"
    if Path(os.path.realpath(signers)).is_relative_to(_checkout(path)):
        told += ", which comes with the record: who can edit the one can edit the other"
    program = _program(path) if files else ""
    return tuple(
        replace(_judged(program, file, record, text, signed_by), signers=told) for file in files
    )


def _beside(path: str, names: Iterable[str] | None) -> Iterator[str]:
    folder, name = os.path.split(path)
    if names is None:
        names = (entry.name for entry in Path(folder or ".").iterdir())
    found = sorted(
        entry for entry in names if entry.endswith(".sig") and entry.startswith(f"{name}.")
    )
    if len(found) > _MOST_FILES:
        raise UsageError(f"a record must have at most {_MOST_FILES} signatures, not {len(found)}")
    for entry in found:
        yield str(Path(folder, entry))


def _read(path: str) -> str:
    return read_text(path, what="file of signatures or signers", limit=_MAX_OCTETS)


def _program(path: str | os.PathLike[str]) -> str:
    from shutil import which  # deferred: few records are signed.

    found = which(_PROGRAM)
    if found is None:
        raise UsageError(f"{_PROGRAM} must be installed to check signatures (OpenSSH 8.2 or newer)")
    folder = Path(os.path.realpath(found)).parent
    if folder == Path.cwd() or folder.is_relative_to(_checkout(path)):
        raise UsageError(f"{_PROGRAM} must be that of the system, not {found}")
    return found


def _checkout(path: str | os.PathLike[str]) -> Path:
    """Return the folder that a record comes with: the repository, or else its own folder."""
    own = Path(os.path.realpath(path)).parent
    roots = (folder for folder in (own, *own.parents) if (folder / ".git").exists())
    return next(roots, own)


def _judged(
    program: str, file: str, record: Record, signers: str, signed_by: Sequence[str]
) -> Signature:
    from tempfile import TemporaryDirectory

    with TemporaryDirectory(prefix="safeframe-") as folder:
        # Copies of what was read: the program sees what is told of, under names of ours.
        sig, allowed = Path(folder, "signature"), Path(folder, "signers")
        sig.write_bytes(_read(file).encode())
        allowed.write_bytes(signers.encode())
        files = ("-s", str(sig), "-f", str(allowed))
        names = list(_principals(program, sig, signers, Path(folder, "lines")))
        if not names:
            return Signature(path=file, words="not accepted: no allowed signer has its key")
        refused = ""

        def asked(by: str, entries: int) -> _Run:
            text = _text(record, entries)
            return _run(program, "verify", *files, "-I", by, "-n", NAMESPACE, given=text)

        for entries, by in product(_states(record), names):
            run = asked(by, entries)
            if run.code == 0:
                good = _GOOD.search(run.stdout)
                key = good[1] if good else ""
                others = [name for name in dict.fromkeys((*names, *signed_by)) if name != by]
                also = [name for name in others if asked(name, entries).code == 0]
                told = (by, *also)
                return Signature(
                    path=file, by=", ".join(told), key=key, entries=entries, names=told
                )
            refused = refused or run.stderr
        words = refused.strip().partition("\n")[0]
        more = f" ({words})" if words else ""
        return Signature(path=file, by=names[0], words=f"not accepted for this record{more}")


def _principals(program: str, sig: Path, signers: str, kept: Path) -> Iterator[str]:
    """Yield everybody whose key a signature is of.

    The program names those of the first line with that key only, which may be a line about
    another namespace: it is asked again without that line. ``kept`` is where the others go.
    """
    left = signers.splitlines(keepends=True)
    while left:
        kept.write_bytes("".join(left).encode())
        run = _run(program, "find-principals", "-s", str(sig), "-f", str(kept))
        names = [name for line in run.stdout.splitlines() if (name := line.strip())]
        if run.code or not names:
            return
        yield from names
        of = [number for number, line in enumerate(left) if _named(line) == ",".join(names)]
        if not of:
            return
        del left[of[0]]


def _named(line: str) -> str:
    """Return the names at the beginning of a line of allowed signers."""
    return line.split(maxsplit=1)[0].strip('"') if line.strip() else ""


def _states(record: Record) -> list[int]:
    """Return after how many entries a signature may have been made, the likely ones first.

    A signature over an earlier state stays what it is when entries follow, withdrawals included.
    """
    total = len(record.history)
    approving = {number for number, act in acts_of(record.history) if isinstance(act, ApprovalAct)}
    numbers = sorted(range(total), key=lambda number: (number not in approving, -number))
    return [total, *numbers][:_MOST_STATES]


class _Run(NamedTuple):
    code: int
    stdout: str
    stderr: str


def _run(program: str, action: str, *words: str, given: str = "") -> _Run:
    import subprocess  # deferred: few records are signed.

    try:
        # Octets, not texts: what is signed has line feeds on every system.
        run = subprocess.run(
            [program, "-Y", action, *words],
            input=given.encode("ascii"),
            capture_output=True,
            timeout=_PATIENCE_S,
            check=False,
            env=os.environ | {"LC_ALL": "C"},
        )
    except subprocess.TimeoutExpired:
        return _Run(1, "", f"no answer within {_PATIENCE_S:.0f} s")
    except OSError as error:
        raise UsageError(f"{program} must run: {error.strerror or error}") from None
    return _Run(run.returncode, *(_decoded(text) for text in (run.stdout, run.stderr)))


def _decoded(octets: bytes) -> str:
    return octets.decode("utf-8", "backslashreplace")


def with_signatures(
    assessment: Assessment,
    path: str | os.PathLike[str],
    record: Record,
    *,
    signers: str = "",
    signed_by: Sequence[str] = (),
    beside: Iterable[str] | None = None,
) -> Assessment:
    """Return an assessment with what the signature files of a record add to it.

    ``signed_by`` are allowed signers of whom a signature is asked, over everything but approvals
    that came later; ``beside`` is as for ``signatures``. A key that is listed for several of them
    counts for none: nobody can tell who of them has signed.
    """
    found = signatures(path, record, signers=signers, signed_by=signed_by, beside=beside)
    total = len(record.history)
    accepted = [row for row in found if row.accepted]
    notes = [
        f"signature {row.path}: accepted by {_PROGRAM} for {row.by} ({row.key}), over "
        f"{covered(row.entries, total)}; allowed signers: {row.signers}"
        for row in accepted
    ]
    faults = []
    for row in found:
        if row.accepted:
            continue
        text = f"signature {row.path}: {row.words}"
        if row.signers:
            faults.append(f"{text}; allowed signers: {row.signers}")
        else:
            notes.append(f"{text} (--signers)")
    last = state_number(record.history)
    if accepted and all(row.entries < last for row in accepted):
        notes.append(f"not cryptographically signed: entry {last} and those after it")
    if not accepted:
        why = "none of the signature files was accepted" if found else "there is no signature file"
        notes.append(f"not cryptographically signed: {why}")
    signed, shared = set[str](), list[str]()
    for row in accepted:
        who = [name for name in dict.fromkeys(signed_by) if name in row.names]
        if row.entries >= last and len(who) == 1:
            signed.update(who)
        elif row.entries >= last and who:
            shared.append(f"signature {row.path}: its key is that of {' and '.join(who)}")
    notes += (f"{text}, so that it counts for none of them" for text in shared)
    unsigned = tuple(name for name in signed_by if name not in signed)
    missing = map(no_signature, unsigned)
    return replace(
        assessment,
        faults=(*assessment.faults, *faults),
        missing=(*assessment.missing, *missing),
        notes=(*assessment.notes, *notes),
        signatures=found,
        unsigned=unsigned,
    )


def no_signature(name: str) -> str:
    """Return that a signature which is asked for is missing."""
    return f"signature: none by {name} over all that was entered"


def covered(entries: int, total: int) -> str:
    """Return in words which entries of a history a signature is over."""
    if entries == total:
        return f"all {count(total, 'entry', 'entries')}"
    return f"entries 1 to {entries} of {total}, not over those after"
