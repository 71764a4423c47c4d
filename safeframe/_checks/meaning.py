"""Rules about meaning inside one map: names, bindings, safe values, code points, validity."""

from __future__ import annotations

import unicodedata
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from functools import partial

from .._canonical import alike, variable
from .._findings import Finding
from .._model import End, Map, Reserved, Signal
from .._pairing import skeleton
from .._value import replace
from .phrases import place_text
from .registry import Context, Finder, Flaw, Repair, View, count, map_rule, per_map, rule, spot
from .remedies import reserve_changes, settled

_NUMBERS = ("uint", "int", "float")
_MOST_COPIES = 16
"""Names that stand twice, and signals of one of them, for which edits are worked out."""
_MOST_NAMED = 8
"""Widest code, in bits, for which every value is expected to have a name."""


@map_rule(
    name="duplicate-name",
    severity="error",
    title="Two signals of one direction have the same name",
    why="Whoever binds or tests by name reaches only one of them.",
    remedy="give each signal its own name",
)
def duplicate_name(map_: Map, other: Map) -> Iterator[Flaw]:
    """Find names used more than once in one direction."""
    there = {(signal.start, signal.width): signal.name for signal in other.signals}
    names = {signal.name for signal in map_.signals}
    for number, (name, signals) in enumerate(_grouped(map_, lambda signal: signal.name)):
        places = " and ".join(place_text(signal) for signal in signals)
        # What the other end calls by a name that is missing here was probably meant.
        meant = [
            (signal, there[key])
            for signal in signals
            if (key := (signal.start, signal.width)) in there and there[key] not in names
        ]
        yield Flaw(
            message="; ".join(
                [
                    f"{name} is declared {count(len(signals), 'time')}, at {places}",
                    *(f"the other end has {new} at {one.at}" for one, new in meant),
                ]
            ),
            entries=signals,
            repairs=(
                *(
                    (
                        f"call the signal at {one.at} {new}, as the other end does",
                        partial(_named, map_, one, new),
                    )
                    for one, new in meant
                ),
                *(_without_copies(map_, other, signals) if number < _MOST_COPIES else ()),
            ),
        )


def _without_copies(map_: Map, other: Map, signals: Sequence[Signal]) -> Iterator[Repair]:
    """Yield the removal of each signal of a name of which the other end has one elsewhere."""
    there = [signal.start for signal in other.signals if signal.name == signals[0].name]
    for signal in signals[:_MOST_COPIES] if there else ():
        if signal.start not in there:
            kept = [one for one in map_.signals if one is not signal]
            entries = settled(map_, kept, map_.size_bits)
            changes = reserve_changes(map_, entries)
            text = f"remove the one at {signal.at}" + (f" ({changes})" if changes else "")
            yield text, partial(tuple, entries)


def _named(map_: Map, signal: Signal, name: str) -> list[Signal | Reserved]:
    return [replace(signal, name=name) if one is signal else one for one in map_.entries]


def _grouped(map_: Map, key: Callable[[Signal], str]) -> Iterator[tuple[str, tuple[Signal, ...]]]:
    groups: dict[str, list[Signal]] = defaultdict(list)
    for signal in map_.signals:
        groups[key(signal)].append(signal)
    for text, signals in groups.items():
        if len(signals) > 1:
            yield text, tuple(signals)


@map_rule(
    name="lookalike-name",
    severity="error",
    title="Two different names look the same",
    why="On screen and on paper the two signals cannot be told apart.",
    remedy="write the names with letters of one alphabet and make them differ visibly",
    source="Unicode TS 39 describes look-alike letters; the list used here is from memory "
    "and not complete",
)
def lookalike_name(map_: Map, _: Map) -> Iterator[Flaw]:
    """Find names of one direction that differ by case, separators or look-alike letters only."""
    for _look, signals in _grouped(map_, lambda signal: skeleton(signal.name)):
        names = dict.fromkeys(signal.name for signal in signals)
        if len(names) > 1:
            shown = " and ".join(name if name.isascii() else f"{name} = {name!a}" for name in names)
            yield Flaw(message=f"{shown} look alike", entries=signals)


@map_rule(
    name="unnormalised-name",
    severity="warning",
    title="A name is not in Unicode normal form C",
    why="The same name typed on another keyboard has other code points and does not match.",
    remedy="type the name again with composed letters, or use ASCII",
    source="Unicode Standard Annex 15",
)
def unnormalised_name(map_: Map, _: Map) -> Iterator[Flaw]:
    """Find names whose normal form C differs."""
    for signal in map_.signals:
        if not unicodedata.is_normalized("NFC", signal.name):
            yield Flaw(
                message=f"{signal.name} = {signal.name!a} is not in normal form C",
                entries=(signal,),
            )


@rule(
    name="unbound-signal",
    severity="error",
    scope="end",
    title="A signal is bound to no variable at one end",
    why="The bit travels, and nobody acts on it or nobody sets it.",
    remedy="bind the signal to a program variable, or take it out at both ends",
)
def unbound_signal(context: Context, find: Finder) -> Iterator[Finding]:
    """Find signals without a binding; one finding per end and direction."""
    for view in context.views:
        for end, map_ in view.sides:
            missing = [signal for signal in map_.signals if not signal.bind.strip()]
            # What is allowed one by one is told one by one, so that the rest stays visible.
            allowed = _allowed(end, find.rule.name) if end.allowances else frozenset()
            groups = [[signal] for signal in missing if id(signal) in allowed]
            groups.append([signal for signal in missing if id(signal) not in allowed])
            for unbound in filter(None, groups):
                yield _unbound(view, end, map_, unbound, find)


def _allowed(end: End, name: str) -> frozenset[int]:
    """Return the numbers of the signals that allowances of a rule name one by one."""
    from .allowances import meant_by  # deferred: most ends allow nothing.

    return frozenset(
        id(signal)
        for allowance in end.allowances
        if allowance.rule == name
        for _, signal in meant_by(end, allowance)
    )


def _unbound(view: View, end: End, map_: Map, unbound: list[Signal], find: Finder) -> Finding:
    names = ", ".join(f"{signal.name} ({place_text(signal)})" for signal in unbound[:5])
    more = f" and {len(unbound) - 5} more" if len(unbound) > 5 else ""
    return find(
        f"{count(len(unbound), 'signal')} of {len(map_.signals)} "
        f"{'is' if len(unbound) == 1 else 'are'} bound to no variable at {end.name}: "
        f"{names}{more}",
        [spot(end, signal) for signal in unbound[:5]],
        direction=view.direction,
        culprits=[(end.name, signal.name) for signal in unbound[5:]],
    )


@rule(
    name="binding-reused",
    severity="error",
    scope="end",
    title="One variable is bound to two signals",
    why="Two bits write one variable and the later one wins, or one variable drives two bits "
    "that were meant to be independent.",
    remedy="give each signal its own variable",
    source="identifiers of IEC 61131-3 do not tell capitals from small letters: from memory",
)
def binding_reused(context: Context, find: Finder) -> Iterator[Finding]:
    """Find variables that several signals of one end are bound to."""
    for end in context.connection.ends:
        bound: dict[str, list[Signal]] = defaultdict(list)
        for signal in end.sends.signals + end.receives.signals:
            if one := variable(signal.bind):
                bound[one].append(signal)
        for signals in bound.values():
            if len(signals) > 1:
                names = " and ".join(f"{signal.name} ({place_text(signal)})" for signal in signals)
                yield find(
                    f"the variable {_spellings(signals)} of {end.name} is bound to {names}",
                    [spot(end, signal) for signal in signals],
                )


def _spellings(signals: list[Signal]) -> str:
    """Return a variable as the rows name it; two spellings are one variable, which is said."""
    texts = list(dict.fromkeys(" ".join(signal.bind.split()) for signal in signals))
    if len(texts) == 1:
        return texts[0]
    return f"{' = '.join(texts)} (letter case does not tell variables apart)"


@rule(
    name="nonzero-safe-value",
    severity="error",
    scope="map",
    title="A safe value is not 0 where the profile substitutes 0",
    why="On loss of communication the receiver replaces all data by zeros; a signal whose "
    "safe value is 1 then takes its active state.",
    remedy="invert the signal so that 0 is its safe value",
    source="FSCP 12/1: fail-safe data are all zeros, see the sources on the profile's page",
)
def nonzero_safe_value(context: Context, find: Finder) -> Iterator[Finding]:
    """Find safe values other than 0 in a profile whose fail-safe data are zeros."""
    if context.profile is None or context.profile.fail_safe != "zero":
        return
    title = context.profile.title

    def judge(map_: Map, _: Map) -> Iterator[Flaw]:
        for signal in map_.signals:
            if signal.safe != 0:
                yield Flaw(
                    message=f"the safe value of {signal.name} ({place_text(signal)}) is "
                    f"{signal.safe}, but {title} substitutes 0 on loss of communication",
                    entries=(signal,),
                )

    yield from per_map(context, find, judge)


def _narrower(map_: Map, other: Map) -> set[str]:
    """Return the names of signals that the other end has narrower.

    What such a signal lacks follows from its width, which is a finding of its own.
    """
    widths = {signal.name: signal.width for signal in other.signals}
    return {
        signal.name
        for signal in map_.signals
        if widths.get(signal.name, signal.width) < signal.width
    }


@map_rule(
    name="missing-code-points",
    severity="warning",
    title="Values of a code have no name",
    why="A value nobody thought of arrives through a fault or a later release, and each end "
    "treats it in its own way.",
    remedy="name every value; give unused ones the reaction of the most restrictive value",
)
def missing_code_points(map_: Map, other: Map) -> Iterator[Flaw]:
    """Find codes that do not name each value that fits their bits."""
    narrower = _narrower(map_, other)
    for signal in map_.signals:
        if signal.type != "code" or signal.width > _MOST_NAMED or signal.name in narrower:
            continue
        named = {value for value, _ in signal.codes}
        missing = [value for value in range(1 << signal.width) if value not in named]
        if missing:
            shown = ", ".join(map(str, missing[:8])) + (" ..." if len(missing) > 8 else "")
            yield Flaw(
                message=f"{signal.name} ({place_text(signal)}) can carry "
                f"{1 << signal.width} values, {len(missing)} of them without a name: {shown}",
                entries=(signal,),
            )


@map_rule(
    name="value-without-validity",
    severity="warning",
    title="A value has no validity bit",
    why="0 is a plausible position or speed. Without a bit that says whether the value holds, "
    "substituted zeros look like a measurement.",
    remedy='name the bit with valid_by = "...", or add one',
)
def value_without_validity(map_: Map, other: Map) -> Iterator[Flaw]:
    """Find numbers wider than one bit without a validity bit in the same direction."""
    named = {signal.name: signal for signal in map_.signals}
    there = {signal.name: signal for signal in other.signals}
    narrower = _narrower(map_, other)
    told = (there.keys() - named.keys()) | narrower
    for signal in map_.signals:
        number = signal.type in _NUMBERS and signal.width > 1
        valid_by = signal.valid_by.strip()
        validity = named.get(signal.valid_by)
        if signal.valid_by and (circle := _circle(signal, named)):
            if signal is min(circle, key=lambda entry: entry.start):
                yield _no_validity(circle)
        elif signal.name in narrower and there[signal.name].width == 1 and not valid_by:
            continue  # A bit at the other end: its width is the cause and told.
        elif signal.valid_by in told:
            continue  # So is the name or width of the validity bit, told where it differs.
        elif valid_by and validity is None:
            yield Flaw(
                message=f"the validity bit {signal.valid_by} of {signal.name} "
                f"({place_text(signal)}) is not in this direction",
                entries=(signal,),
            )
        elif validity is not None and validity.type in _NUMBERS and validity.width > 1:
            yield Flaw(
                message=f"the validity bit {signal.valid_by} of {signal.name} "
                f"({place_text(signal)}) is no bit but a number of {validity.width} bits",
                entries=(signal, validity),
            )
        elif number and not valid_by:
            yield Flaw(
                message=f"{signal.name} ({place_text(signal)}) is a value of {signal.width} "
                "bits without a validity bit",
                entries=(signal,),
            )


def _circle(signal: Signal, named: dict[str, Signal]) -> list[Signal]:
    """Return the signals that name each other as validity and end where they began, or none."""
    seen = [signal]
    while (following := named.get(seen[-1].valid_by)) is not None and following not in seen[1:]:
        if following is signal:
            return seen
        seen.append(following)
    return []


def _no_validity(circle: list[Signal]) -> Flaw:
    names = " and ".join(f"{signal.name} ({place_text(signal)})" for signal in circle)
    if len(circle) == 1:
        text = f"{names} is named as its own validity bit: nothing says whether it holds"
    else:
        text = f"{names} are named as each other's validity: nothing says whether they hold"
    return Flaw(message=text, entries=tuple(circle))


@rule(
    name="assumed-mirror",
    severity="error",
    scope="direction",
    title="A status bit is taken for the echo of a control bit",
    why="A device reports what it measured, not what it was told. Whoever takes the status "
    "for an echo does not notice that the command was not carried out.",
    remedy="state mirrors at the producer of the status as well, or remove it at the consumer",
)
def assumed_mirror(context: Context, find: Finder) -> Iterator[Finding]:
    """Find mirrors that the producing end does not confirm, or of what is not there or unlike."""
    for view, opposite in zip(context.views, context.views[::-1], strict=True):
        direction = view.direction
        for pair in view.matching.pairs:
            told, made = pair.right.mirrors, pair.left.mirrors
            if told and told != made:
                says = f"says it mirrors {made}" if made else "does not say so"
                yield find(
                    f"{direction.consumer.name} takes {pair.right.name} "
                    f"({place_text(pair.right)}) for the echo of {told}; "
                    f"{direction.producer.name}, which produces it, {says}",
                    [spot(direction.consumer, pair.right), spot(direction.producer, pair.left)],
                    direction=direction,
                )
        for (end, map_), (_, back) in zip(view.sides, opposite.sides[::-1], strict=True):
            named = {signal.name: signal for signal in back.signals}
            for signal in map_.signals:
                if not signal.mirrors:
                    continue
                of = named.get(signal.mirrors)
                problem = f"which {end.name} does not have in the opposite direction"
                if of is not None:
                    unlike = [key for key in _REPEATED if _contradict(signal, of, key)]
                    if not unlike:
                        continue
                    problem = f"which has another {' and another '.join(unlike)} at {end.name}"
                yield find(
                    f"{signal.name} ({place_text(signal)}) mirrors {signal.mirrors}, {problem}",
                    [spot(end, one) for one in (signal, of) if one is not None],
                    direction=direction,
                    remedy="name the signal that is repeated as it is, or remove mirrors",
                )


_REPEATED = ("width", "type", "unit", "scale")
"""What an echo has from what it repeats, or its bits mean something else."""


def _contradict(one: Signal, other: Signal, key: str) -> bool:
    stated = getattr(one, key) and getattr(other, key)
    return bool(stated) and not alike(one, other, key)
