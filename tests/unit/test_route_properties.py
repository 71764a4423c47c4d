"""Random sites with routes and up to two mistakes in them: what must be told, and nothing else.

The model works on chains and the list of mistakes alone: it reads no map and asks no rule.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.unit.route_sites import Link, Place, Row

pytestmark = pytest.mark.no_cover

WATCHDOG_MS, EXCHANGE_MS, CYCLE_MS = 100, 10, 7

KINDS: dict[str, dict[str, Any]] = {
    "bit": {"one_means": "permitted"},
    "value": {"type": "uint", "width": 16, "unit": "mm", "scale": "0.5", "valid_by": "ok"},
    "code": {"type": "code", "width": 2, "codes": ((0, "a"), (1, "b"), (2, "c"), (3, "d"))},
}


@dataclass
class Chain:
    """One signal over two or three connections: a row for each, a step for each gateway."""

    number: int
    kind: str
    gates: tuple[str, ...]
    sent: list[dict[str, Any]] = field(default_factory=list)
    steps: list[dict[str, str]] = field(default_factory=list)
    target: str = ""
    source: str = ""
    permitted_ms: int = 0

    def __post_init__(self) -> None:
        count = len(self.gates) + 1
        self.sent = [dict(KINDS[self.kind]) for _ in range(count)]
        for part, row in enumerate(self.sent):
            row |= {"name": f"s{self.number}{part}", "bind": f"V{self.number}.{part}"}
            row["into"] = f"v{self.number}.{part + 1}"
        self.steps = [{} for _ in self.gates]
        self.source, self.target = self.sent[0]["name"], self.sent[-1]["name"]
        self.permitted_ms = self.longest_ms

    @property
    def longest_ms(self) -> int:
        stretches = len(self.gates) + 1
        return stretches * (WATCHDOG_MS + EXCHANGE_MS) + 2 * CYCLE_MS * len(self.gates)

    @property
    def ends(self) -> tuple[str, ...]:
        return (f"A{self.number}", *self.gates, f"Z{self.number}")

    @property
    def name(self) -> str:
        ends = self.ends
        return " -> ".join((f"{ends[0]}.{self.source}", *self.gates, f"{ends[-1]}.{self.target}"))

    def links(self) -> list[Link]:
        found = []
        for part, fields in enumerate(self.sent):
            row = dict(fields)
            bind, into = row.pop("bind"), row.pop("into")
            rows = [Row(sent=bind, received=into, **row)]
            if row.get("valid_by"):
                rows.append(Row("ok", f"Ok{self.number}", f"ok{self.number}", one_means="holds"))
            found.append(
                Link(
                    f"C{self.number}{part}",
                    self.ends[part],
                    self.ends[part + 1],
                    tuple(rows),
                    watchdog_ms=WATCHDOG_MS,
                    exchange_ms=EXCHANGE_MS,
                )
            )
        return found

    def route(self) -> str:
        through = ", ".join(
            "{ " + ", ".join([f'end = "{gate}"', *(f"{k} = {v}" for k, v in step.items())]) + " }"
            for gate, step in zip(self.gates, self.steps, strict=True)
        )
        return (
            f'from = "{self.ends[0]}.{self.source}", through = [{through}], '
            f'to = "{self.ends[-1]}.{self.target}", permitted_reaction_ms = {self.permitted_ms}'
        )


@dataclass(frozen=True)
class Mistake:
    """What is done to a chain at its gateway ``at``, for chains of some kinds, and what is told.

    ``hides`` are rules that this one explains at the same gateway; ``open`` says that nothing is
    wrong but something stays open.
    """

    rule: str
    do: Callable[[Chain, int], None]
    kinds: tuple[str, ...] = ("bit", "value", "code")
    hides: tuple[str, ...] = ()
    open: bool = False
    whole: bool = False


def leaves(**fields: Any) -> Callable[[Chain, int], None]:
    def do(chain: Chain, at: int) -> None:
        for part in range(at + 1, len(chain.sent)):  # As the signal goes on from here.
            chain.sent[part] |= fields

    return do


def declares(**words: str) -> Callable[[Chain, int], None]:
    def do(chain: Chain, at: int) -> None:
        chain.steps[at] |= words

    return do


def _delivers(into: str) -> Callable[[Chain, int], None]:
    def do(chain: Chain, at: int) -> None:
        chain.sent[at]["into"] = into
        # The next name is stated, so that the way is known although the variable is lost.
        chain.steps[at]["signal"] = f'"{chain.sent[at + 1]["name"]}"'

    return do


def _misnames(chain: Chain, at: int) -> None:
    chain.target = "nowhere"


def _slows(chain: Chain, at: int) -> None:
    chain.permitted_ms = chain.longest_ms - 1


def _drops_validity(chain: Chain, at: int) -> None:
    for part in range(at + 1, len(chain.sent)):
        chain.sent[part]["valid_by"] = ""


MISTAKES = {
    "variable": Mistake("route-binding-differs", _delivers("Elsewhere.X")),
    "no variable": Mistake("route-binding-differs", _delivers(""), open=True),
    "width": Mistake("route-width-differs", leaves(width=8), ("value",)),
    "type": Mistake("route-type-differs", leaves(type="int"), ("value",)),
    "unit": Mistake("route-unit-differs", leaves(unit="cm"), ("value",), ("safe",)),
    "no unit": Mistake("route-unit-differs", leaves(unit=""), ("value",), open=True),
    "scale": Mistake("route-scale-differs", leaves(scale="5"), ("value",), ("safe",)),
    "meaning": Mistake("route-meaning-differs", leaves(one_means="forbidden"), ("bit",)),
    "no meaning": Mistake("route-meaning-differs", leaves(one_means=""), ("bit",), open=True),
    "codes": Mistake(
        "route-meaning-differs",
        leaves(codes=((0, "a"), (1, "c"), (2, "b"), (3, "d"))),
        ("code",),
    ),
    "safe": Mistake("route-safe-value-differs", leaves(safe=1)),
    "on loss": Mistake("route-safe-value-differs", declares(on_loss="3"), hides=("safe",)),
    "inversion": Mistake("route-inversion-unfounded", declares(inverts="true"), hides=("meaning",)),
    "conversion": Mistake(
        "route-conversion-unfounded", declares(converts='{ edge = ["rising", "falling"] }')
    ),
    "validity": Mistake("route-validity-lost", _drops_validity, ("value",)),
    "slow": Mistake("route-too-slow", _slows, whole=True),
    "target": Mistake("route-broken", _misnames, hides=("slow",), whole=True),
}


@st.composite
def sites(draw: st.DrawFn) -> tuple[list[Chain], list[tuple[int, int, str]]]:
    """Draw chains, and mistakes as (chain, gateway, name), no two of one name or one key."""
    chains = []
    for number in range(draw(st.integers(1, 4))):
        gates = draw(st.permutations(("G0", "G1", "G2")))[: draw(st.integers(1, 2))]
        chains.append(Chain(number, draw(st.sampled_from(sorted(KINDS))), tuple(gates)))
    made: list[tuple[int, int, str]] = []
    for _ in range(draw(st.integers(0, 2))):
        chain = draw(st.sampled_from(chains))
        fitting = [name for name, one in MISTAKES.items() if chain.kind in one.kinds]
        name = draw(st.sampled_from(fitting))
        at = draw(st.integers(0, len(chain.gates) - 1))
        if not any(_clash(entry, (chain.number, at, name)) for entry in made):
            MISTAKES[name].do(chain, at)
            made.append((chain.number, at, name))
    return chains, made


_GROUPS = (
    {"variable", "no variable"},
    {"unit", "no unit"},
    {"meaning", "no meaning", "codes", "inversion"},
    {"safe", "on loss", "unit", "no unit", "scale", "inversion"},
)


def _clash(one: tuple[int, int, str], two: tuple[int, int, str]) -> bool:
    """Tell whether two mistakes of one chain touch the same key, so that one undoes the other."""
    if one[0] != two[0]:
        return False
    return one[2] == two[2] or any({one[2], two[2]} <= group for group in _GROUPS)


def model(
    chains: list[Chain], made: list[tuple[int, int, str]]
) -> tuple[Counter[tuple[str, str]], set[tuple[str, str]]]:
    """Return what must be told and what must stay open, as rules and routes."""
    told: Counter[tuple[str, str]] = Counter()
    open_: set[tuple[str, str]] = set()
    for chain in chains:
        mine = {(at, name) for number, at, name in made if number == chain.number}
        names = {name for _, name in mine}
        last = len(chain.gates) - 1
        for at, name in mine:
            mistake = MISTAKES[name]
            behind_break = "target" in names and at == last and not mistake.whole
            hidden = any(
                name in MISTAKES[other].hides
                for here, other in mine
                if here == at or MISTAKES[other].whole
            )
            if behind_break or hidden:
                continue
            if mistake.open:
                open_.add((mistake.rule, chain.name))
            else:
                told[mistake.rule, chain.name] += 1
    return told, open_


def site_of(chains: list[Chain], seed: int = 0) -> Place:
    """Return the site with connections, ends and routes in an order of its own."""
    links = [link for chain in chains for link in chain.links()]
    routes = [chain.route() for chain in chains]
    if seed:
        draw = random.Random(seed)
        draw.shuffle(links)
        draw.shuffle(routes)
        links = [
            replace(one, first=one.second, second=one.first, there=one.back, back=one.there)
            if draw.random() < 0.5
            else one
            for one in links
        ]
    cycles = tuple((gate, CYCLE_MS) for gate in ("G0", "G1", "G2"))
    used = {end for chain in chains for end in chain.gates}
    return Place(tuple(links), tuple(routes), tuple(one for one in cycles if one[0] in used))


class TestEveryMistakeIsToldOnce:
    """A route mistake is told by its rule at its route, and nothing is told that is right."""

    @given(sites())
    def test_against_the_model(self, drawn: tuple[list[Chain], list[tuple[int, int, str]]]) -> None:
        chains, made = drawn
        told, open_ = model(chains, made)
        report = site_of(chains).report()
        found: Counter[tuple[str, str]] = Counter()
        for one in report.findings:
            if one.rule.startswith("route-"):
                (name,) = [
                    chain.name for chain in chains if f"on the route {chain.name}: " in one.message
                ]
                found[one.rule, name] += 1
        assert found == told
        left = {(one.rule, one.route) for one in report.not_judged if one.route}
        assert open_ <= left


class TestOrderDoesNotCount:
    """The order of connections, of their ends and of routes changes no word."""

    @given(sites(), st.integers(1, 1 << 16))
    def test_shuffled(
        self, drawn: tuple[list[Chain], list[tuple[int, int, str]]], seed: int
    ) -> None:
        chains, _ = drawn
        plain, shuffled = site_of(chains), site_of(chains, seed)
        assert sorted(plain.told()) == sorted(shuffled.told())
        assert sorted(plain.open()) == sorted(shuffled.open())
