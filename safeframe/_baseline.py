"""Findings that are known already: told from new ones by what they are about, not by where."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import replace
from typing import NamedTuple

from ._document.kinds import TEXT, array, integer
from ._document.reader import read_text
from ._document.tables import Key, nested
from ._errors import InputError
from ._findings import MOST_OF_A_RULE, Finding, Report, each_one

FORMAT = "safeframe-baseline/1"
_REMEDY = "write it anew with safeframe check --write-baseline"
_MAX_OCTETS = 16 << 20


class BaselineKey(NamedTuple):
    """What a finding is about; no line and no place, so that it survives other edits.

    ``about`` lists the culprits as ``END signal`` in sorted order, the end alone where no signal
    is named, the name alone where it belongs to no end. Culprits without a spot count one by one.
    """

    rule: str
    connection: str
    direction: str
    about: tuple[str, ...]


def key_of(finding: Finding) -> BaselineKey:
    """Return what a finding is about."""
    shown = {f"{spot.end} {spot.signal}".rstrip() for spot in (*finding.spots, *finding.beyond)}
    further = [f"{end} {name}".strip() for end, name in finding.culprits]
    about = tuple(sorted([*shown, *further]))
    name = finding.connection
    if finding.which:
        name = f"{name} [{finding.which}]"
    return BaselineKey(finding.rule, name, finding.direction, about)


def identity(finding: Finding) -> str:
    """Return a SHA-256 of what a finding is about, 64 hexadecimal digits."""
    import hashlib  # deferred: only some outputs need it.
    import json

    return hashlib.sha256(json.dumps(key_of(finding)).encode("ascii")).hexdigest()


def dumps(findings: Iterable[Finding]) -> str:
    """Return the text of a baseline file that knows these findings, the unlisted ones as well.

    It knows none of those that were not looked for, nor that there are some.
    """
    import json

    counts = Counter(map(key_of, each_one(findings)))
    rows = [{**key._asdict(), "count": counts[key]} for key in sorted(counts)]
    return json.dumps({"format": FORMAT, "findings": rows}, indent=2) + "\n"


def load(path: str) -> Counter[BaselineKey]:
    """Read a baseline file; raises InputError with every problem in it."""
    return loads(read_text(path, what="baseline", limit=_MAX_OCTETS), path=path)


def loads(text: str, *, path: str = "<text>") -> Counter[BaselineKey]:
    """Return how often each finding is known; raises InputError when the text is no baseline."""
    from ._document.jsontext import read  # deferred: most checks read no JSON.

    try:
        data, tables = read(text, path=path)
        tables.head(data, FORMAT, "a baseline", _KEYS)
        known = {name: data[name] for name in _KEYS if name in data}
        found = tables.take(known, _KEYS, (), "a baseline")
        tables.problems.refuse()
    except InputError as error:
        # Nobody writes a baseline by hand.
        told = (replace(one, remedy=one.remedy or _REMEDY) for one in error.problems)
        raise InputError(*told) from None
    assert found is not None
    counts: Counter[BaselineKey] = Counter()
    for key, count in found["findings"]:
        counts[key] += count
    return counts


def _known(
    rule: str, connection: str, direction: str, about: tuple[str, ...], count: int = 1
) -> tuple[BaselineKey, int]:
    return BaselineKey(rule, connection, direction, about), count


_FINDING = nested(
    _known,
    {
        "rule": Key(kind=TEXT, required=True),
        "connection": Key(kind=TEXT, required=True),
        "direction": Key(kind=TEXT, required=True),
        "about": Key(kind=array(TEXT), required=True),
        "count": Key(kind=integer(1)),
    },
    "a known finding",
)
_KEYS = {"findings": Key(kind=array(_FINDING), required=True)}


def apply(report: Report, known: Counter[BaselineKey]) -> tuple[Report, int]:
    """Move the known findings of a report to ``known``; return how many are no longer found.

    Of findings that were not looked for none is known, whatever the file says.
    """
    left = known.copy()
    new: list[Finding] = []
    old: list[Finding] = []
    for finding in report.findings:
        if finding.unlisted is None:
            new.append(finding)
            continue
        fresh: list[Finding] = []
        for one in each_one([finding]):
            key = key_of(one)
            if left[key] > 0:
                left[key] -= 1
                old.append(one)
            else:
                fresh.append(one)
        if len(fresh) > MOST_OF_A_RULE:
            fresh = [replace(finding, unlisted=tuple(fresh))]
        new += fresh
    return replace(report, findings=tuple(new), known=tuple(old)), left.total()
