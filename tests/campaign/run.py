"""The campaign itself: check random pairs, have the oracle judge what is said."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from random import Random

from safeframe import _checks as checks
from safeframe import _mapfile as mapfile
from safeframe._errors import InputError
from safeframe._findings import Finding, Report
from safeframe._model import Connection, End

from . import meanings, orders, slips, tables  # noqa: F401
from .generate import connection
from .mutate import MOVES, MUTATORS, Mistake, mistakes
from .oracle import BELOW, MOVE, Said, agree, judge, told_once, truths
from .remedy import NoEditError, alternatives, carry_out
from .respell import respell
from .tiny import Pair, sheet, text

__all__ = ["Outcome", "Tally", "campaign", "one"]


@dataclass
class Outcome:
    """What came out of one pair."""

    number: int
    kinds: tuple[str, ...]
    complaints: list[tuple[str, str]] = field(default_factory=list)
    sentences: int = 0
    remedies: int = 0
    right_alone: bool = False
    asked: bool = False
    mended: bool = False


@dataclass
class Tally:
    """Figures by the number of mistakes."""

    pairs: Counter[int] = field(default_factory=Counter)
    findings: Counter[int] = field(default_factory=Counter)
    right_alone: int = 0
    unreadable: int = 0
    remedies: int = 0
    asked: int = 0
    mended: int = 0
    kinds: Counter[str] = field(default_factory=Counter)
    complaints: Counter[tuple[int, str]] = field(default_factory=Counter)
    examples: dict[str, list[tuple[int, str]]] = field(default_factory=dict)

    def add(self, seed: int, outcome: Outcome) -> None:
        number = len(outcome.kinds)
        self.pairs[number] += 1
        self.findings[number] += outcome.sentences
        self.right_alone += outcome.right_alone and number == 1
        self.remedies += outcome.remedies
        self.asked += outcome.asked
        self.mended += outcome.mended
        self.kinds.update(outcome.kinds)
        for kind, words in outcome.complaints:
            self.complaints[number, kind] += 1
            self.examples.setdefault(kind, []).append((seed, words))


@lru_cache(maxsize=64)
def _read(content: str, path: str) -> End:
    """Return the map in a text; one end mostly stays as it was while the other is mended."""
    return mapfile.loads(content, path=path)


def load(pair: Pair, names: Sequence[str] = ()) -> Connection:
    files = zip(pair.ends, names or [end.name for end in pair.ends], strict=True)
    first, second = (_read(text(end), f"{name}.toml") for end, name in files)
    return Connection(first=first, second=second)


def said(finding: Finding, pair: Pair) -> Said:
    names = [end.name for end in pair.ends]
    direction = names.index(finding.producer) if finding.producer else None
    moves = tuple(line for line in finding.details if MOVE.fullmatch(line))
    below = []
    for line in finding.details:
        m = None if line in moves else BELOW.fullmatch(line)
        if m is not None:
            spots = tuple((end, "") for end in (m[2] or "").split(" and "))
            below.append(Said(m[1], m[3], "", (), direction, spots))
    return Said(
        rule=finding.rule,
        message=finding.message,
        remedy=finding.remedy,
        details=moves,
        direction=direction,
        spots=tuple((spot.end, spot.signal) for spot in finding.spots),
        below=tuple(below),
    )


def told(mistake: Mistake, found: list[Said]) -> bool:
    """Tell whether some finding tells a mistake: by a fitting rule, direction and signal."""
    for this in [*found, *(below for top in found for below in top.below)]:
        if this.rule not in mistake.rules:
            continue
        if mistake.direction is not None and this.direction not in (mistake.direction, None):
            continue
        words = {name for _, name in this.spots}
        words |= {name for line in this.details for name in line.split(":")[0].split(" / ")}
        if (
            not mistake.names
            or mistake.names & words
            or any(name in this.message for name in mistake.names)
        ):
            return True
    return False


def _check(pair: Pair) -> Report:
    return checks.check(load(pair))


def _found(pair: Pair) -> list[Said]:
    return [said(finding, pair) for finding in _check(pair).findings]


def _every(pair: Pair) -> Sequence[Finding]:
    """Return all findings, none hung below another one, without looking for remedies."""
    made = load(pair)
    profile = checks.find_profile(made)
    return checks._found(checks._ordered(made, profile), profile)


def prepared(seed: int, number: int, first: str = "") -> tuple[Random, Pair, list[Mistake]]:
    """Return a pair with some mistakes, the first of them of a kind where that fits at all."""
    random = Random(seed)
    for _ in range(40):
        pair = connection(random)
        if not first or MUTATORS[first](random, pair.copy()) is not None:
            break
    if random.random() < 0.3:
        respell(random, pair)
    return random, pair, list(mistakes(random, pair, number, first))


def one(seed: int, number: int, first: str = "") -> Outcome:
    """Judge one pair with some mistakes."""
    random, pair, made = prepared(seed, number, first)
    outcome = Outcome(seed, tuple(mistake.kind for mistake in made))
    try:
        report = _check(pair)
    except InputError:
        return Outcome(seed, ("unreadable",))  # Together the mistakes are no map: refused.
    found = [said(finding, pair) for finding in report.findings]
    complain = outcome.complaints.append
    if agree(pair) and not any(mistake.inner for mistake in made):
        if found and not made:
            complain(("false alarm", found[0].message))
        return outcome  # Two mistakes that undo each other leave what both ends agree about.
    if not report.fails("warning"):
        complain(("silent miss", " ".join(outcome.kinds)))
    both = truths(pair)
    for mistake in made:
        places = mistake.names if mistake.rules & MOVES else frozenset()
        if places and not mistake.inner and places <= both[mistake.direction or 0].right:
            continue  # Another mistake took this one back.
        if not told(mistake, found):
            complain(("cause not told", f"{mistake.kind} {sorted(mistake.names)}"))
    whole = {one.rule for one in found} & {"directions-exchanged", "wrong-file"}
    for one_ in found if not whole else ():
        outcome.sentences += 1
        if one_.direction is not None:
            for wrong in judge(both[one_.direction], one_):
                complain(("false statement" if "unknown" not in wrong else "unknown", wrong))
    for way in (0, 1) if not whole else ():
        here = [one for one in found if one.direction == way]
        for wrong in told_once(both[way], here):
            complain(("displaced signal", wrong))
    if len(made) == 1:
        (mistake,) = made
        fitting = [one_ for one_ in found if one_.rule in (mistake.alone or mistake.rules)]
        outcome.right_alone = len(found) == 1 and bool(fitting)
        if not fitting:
            complain(("wrong finding", f"{mistake.kind}: {[one_.rule for one_ in found]}"))
        elif len(found) > 1:
            complain(("not alone", f"{mistake.kind}: {[one_.rule for one_ in found]}"))
    if not whole:
        _remedies(pair, made, found, outcome)
        if len(made) > 1 and seed % 2:
            _one_by_one(random, pair, found, outcome)
    if seed % 4 == 0:
        _other_order(pair, found, outcome)
    if seed % 8 == 1:
        _other_names(pair, report, outcome)
    if seed % 8 == 2:
        _as_sheet(pair, report, outcome)
    return outcome


def _remedies(pair: Pair, made: list[Mistake], found: list[Said], outcome: Outcome) -> None:
    """Carry out every remedy alone; what is left must be less, and nothing after one mistake."""
    before = _every(pair) if found else []
    for one_ in found:
        for way in alternatives(one_):
            after = _carried_out(pair, one_, way, outcome)
            if after is None:
                continue
            outcome.remedies += 1
            left = _every(after)
            if len(made) == 1 and len(found) == 1 and (left or not agree(after)):
                outcome.complaints.append(("remedy leaves", f"{way}: {[x.message for x in left]}"))
            elif len(left) >= len(before):
                outcome.complaints.append(("remedy in vain", f"{way}: {[x.message for x in left]}"))


def _carried_out(pair: Pair, told_: Said, way: str, outcome: Outcome) -> Pair | None:
    try:
        done = carry_out(pair, told_, way)
        load(done)  # What a remedy leaves must be a map file still.
        return done
    except NoEditError:
        return None
    except (StopIteration, AssertionError, InputError) as error:
        outcome.complaints.append(("remedy not possible", f"{way} {error!r}"))
        return None


def _one_by_one(random: Random, pair: Pair, found: list[Said], outcome: Outcome) -> None:
    """Carry out one remedy after the other, with a check after each, until none is told."""
    while found:
        steps = [(one_, way) for one_ in found for way in alternatives(one_)]
        random.shuffle(steps)
        for one_, way in steps:
            after = _carried_out(pair, one_, way, outcome)
            if after is not None:
                break
        else:
            outcome.asked = True
            return  # What is left asks.
        left = _found(after)
        if len(left) >= len(found):
            outcome.complaints.append(("one by one", f"{way}: {[x.message for x in left]}"))
            return
        pair, found = after, left
    outcome.mended = True
    if not agree(pair):
        outcome.complaints.append(("one by one", "clean, though the ends do not agree"))


def _other_order(pair: Pair, found: list[Said], outcome: Outcome) -> None:
    """Compare with the findings of the files in the other order."""
    turned = Pair((pair.ends[1], pair.ends[0]))
    other = [said(finding, pair) for finding in _check(turned).findings]
    key = lambda one_: (one_.rule, str(one_.direction), frozenset(one_.spots), one_.remedy)  # noqa: E731
    if Counter(map(key, other)) != Counter(map(key, found)):
        outcome.complaints.append(("order of files", str({o.rule for o in other})))


_ODD = {"SC1": "SC1 -> LX, or not", "LX": "A -> B", "LX2": "A -> C"}
_NAMED = re.compile(r"(?<![\w.-])(SC1|LX2?)(?![\w-]|\.\w)")


def _texts(findings: Iterable[Finding]) -> list[tuple[str, str, str, tuple[str, ...]]]:
    return [(one_.rule, one_.message, one_.remedy, one_.details) for one_ in findings]


def _odd(told_: str) -> str:
    return _NAMED.sub(lambda m: _ODD[m[1]], told_)


def _other_names(pair: Pair, report: Report, outcome: Outcome) -> None:
    """Compare with the findings about ends of odd names: nothing but the names may change."""
    turned = pair.copy()
    for end in turned.ends:
        end.name, end.peer = _ODD[end.name], _ODD[end.peer]
    other = _texts(checks.check(load(turned, names=[end.name for end in pair.ends])).findings)
    expected = [
        (rule, _odd(message), _odd(remedy), tuple(map(_odd, details)))
        for rule, message, remedy, details in _texts(report.findings)
    ]
    if other != expected:
        outcome.complaints.append(("names of ends", str(set(other) ^ set(expected))))


def _as_sheet(pair: Pair, report: Report, outcome: Outcome) -> None:
    """Compare with the findings about a sheet in the place of the first file."""
    first, second = pair.ends
    sheet_ = mapfile.loads(sheet(first), path=f"{first.name}.csv", format="csv")
    other = mapfile.loads(text(second), path=f"{second.name}.toml")
    found = _texts(checks.check(Connection(first=sheet_, second=other)).findings)
    if found != _texts(report.findings):
        outcome.complaints.append(("sheet", str(set(found) ^ set(_texts(report.findings)))))


def campaign(
    pairs: int, seed: int, *, watch: Callable[[Tally], None] = lambda tally: None
) -> Tally:
    """Judge ``pairs`` pairs with 0 to 3 mistakes in turn, from a seed on.

    ``watch`` gets the figures so far after every pair.
    """
    tally = Tally()
    for index in range(pairs):
        tally.add(seed + index, one(seed + index, *recipe(index)))
        watch(tally)
    return tally


def recipe(index: int) -> tuple[int, str]:
    """Return how many mistakes a pair of a campaign gets, and the kind of the first one."""
    if index % 30 == 0:
        return 0, ""
    kinds = list(MUTATORS)
    return 1 + index % 3, kinds[index // 3 % len(kinds)]
