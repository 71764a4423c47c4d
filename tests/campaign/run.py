"""The campaign itself: check random pairs, have the oracle judge what is said."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from random import Random

from safeframe import _checks as checks
from safeframe import _mapfile as mapfile
from safeframe._findings import Finding, Report
from safeframe._model import Connection

from .generate import connection
from .mutate import MOVES, Mistake, mistakes
from .oracle import Said, agree, judge, told_once, truths
from .remedy import NoEditError, alternatives, carry_out
from .tiny import Pair, text

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


@dataclass
class Tally:
    """Figures by the number of mistakes."""

    pairs: Counter[int] = field(default_factory=Counter)
    findings: Counter[int] = field(default_factory=Counter)
    right_alone: int = 0
    remedies: int = 0
    complaints: Counter[tuple[int, str]] = field(default_factory=Counter)
    examples: dict[str, list[tuple[int, str]]] = field(default_factory=dict)

    def add(self, seed: int, outcome: Outcome) -> None:
        number = len(outcome.kinds)
        self.pairs[number] += 1
        self.findings[number] += outcome.sentences
        self.right_alone += outcome.right_alone and number == 1
        self.remedies += outcome.remedies
        for kind, words in outcome.complaints:
            self.complaints[number, kind] += 1
            self.examples.setdefault(kind, []).append((seed, words))


def load(pair: Pair) -> Connection:
    first, second = (mapfile.loads(text(end), path=f"{end.name}.toml") for end in pair.ends)
    return Connection(first=first, second=second)


def said(finding: Finding, pair: Pair) -> Said:
    names = [end.name for end in pair.ends]
    direction = names.index(finding.producer) if finding.producer else None
    return Said(
        rule=finding.rule,
        message=finding.message,
        remedy=finding.remedy,
        details=finding.details,
        direction=direction,
        spots=tuple((spot.end, spot.signal) for spot in finding.spots),
    )


def told(mistake: Mistake, found: list[Said]) -> bool:
    """Tell whether some finding tells a mistake: by a fitting rule, direction and signal."""
    for one in found:
        if one.rule not in mistake.rules:
            continue
        if mistake.direction is not None and one.direction not in (mistake.direction, None):
            continue
        words = {name for _, name in one.spots} | {line.split(":")[0] for line in one.details}
        if (
            not mistake.names
            or mistake.names & words
            or any(n in one.message for n in mistake.names)
        ):
            return True
    return False


def _check(pair: Pair) -> Report:
    return checks.check(load(pair))


def one(seed: int, number: int) -> Outcome:
    """Judge one pair with some mistakes."""
    random = Random(seed)
    pair = connection(random)
    made = list(mistakes(random, pair, number))
    outcome = Outcome(seed, tuple(mistake.kind for mistake in made))
    report = _check(pair)
    found = [said(finding, pair) for finding in report.findings]
    complain = outcome.complaints.append
    if agree(pair):
        if found and not made:
            complain(("false alarm", found[0].message))
        return outcome  # Two mistakes that undo each other leave what both ends agree about.
    if not report.fails("warning"):
        complain(("silent miss", " ".join(outcome.kinds)))
    both = truths(pair)
    for mistake in made:
        places = mistake.names if mistake.rules & MOVES else frozenset()
        if places and places <= both[mistake.direction or 0].right:
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
    if seed % 3 == 0:
        _other_order(pair, found, outcome)
    return outcome


def _remedies(pair: Pair, made: list[Mistake], found: list[Said], outcome: Outcome) -> None:
    for one_ in found:
        for way in alternatives(one_):
            try:
                after = carry_out(pair, one_, way)
            except NoEditError:
                continue
            except (StopIteration, AssertionError) as error:
                outcome.complaints.append(("remedy not possible", f"{way} {error!r}"))
                continue
            outcome.remedies += 1
            left = [said(finding, after) for finding in _check(after).findings]
            if len(made) == 1 and len(found) == 1 and (left or not agree(after)):
                outcome.complaints.append(("remedy leaves", f"{way}: {[x.message for x in left]}"))
            elif len(left) >= len(found):
                outcome.complaints.append(("remedy in vain", f"{way}: {[x.message for x in left]}"))


def _other_order(pair: Pair, found: list[Said], outcome: Outcome) -> None:
    """Compare with the findings of the files in the other order."""
    turned = Pair((pair.ends[1], pair.ends[0]))
    other = [said(finding, pair) for finding in _check(turned).findings]
    key = lambda one_: (one_.rule, str(one_.direction), frozenset(one_.spots), one_.remedy)  # noqa: E731
    if Counter(map(key, other)) != Counter(map(key, found)):
        outcome.complaints.append(("order of files", str({o.rule for o in other})))


def campaign(
    pairs: int, seed: int, *, watch: Callable[[Tally], None] = lambda tally: None
) -> Tally:
    """Judge ``pairs`` pairs with 0 to 3 mistakes in turn, from a seed on.

    ``watch`` gets the figures so far after every pair.
    """
    tally = Tally()
    for index in range(pairs):
        number = 0 if index % 30 == 0 else 1 + index % 3
        tally.add(seed + index, one(seed + index, number))
        watch(tally)
    return tally
