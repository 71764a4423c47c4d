"""Rules about the shape of one map: sizes, holes, overlaps, reserved runs, block borders."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import partial

from .._bits import Place, run_text
from .._findings import Finding, Spot
from .._model import Map, Reserved, Signal
from .._pairing import Cause
from ..protocols import Profile
from .phrases import place_text
from .registry import Context, Finder, Flaw, View, count, map_rule, per_map, rule, spot

_PADDING_NAME = (
    r"(?:reserved?|resv?|spare|pad(?:ding)?|unused|dummy|filler|gap|free|not_?used)[\W_]*\d*"
)
# How such names begin, for re is asked of few: to compile a pattern costs as much as all its uses.
_PADDING_STARTS = ("res", "spare", "pad", "unused", "dummy", "fi", "f\u0131", "gap", "free", "not")


def illegal_size_text(map_: Map, profile: Profile, legal_octets: tuple[int, ...]) -> str:
    """Return the message for an illegal data size, empty for a legal one."""
    size_bits = map_.size_bits
    if size_bits & 7 == 0 and profile.sizes.is_legal(size_bits >> 3, legal_octets):
        return ""
    size = count(size_bits, "bit")
    if size_bits & 7:
        message = f"the safety data are {size} long, which is no whole number of octets"
    else:
        message = f"the safety data are {size} = {count(size_bits >> 3, 'octet')} long"
    message += f"; legal are {profile.sizes.describe(legal_octets)}"
    larger = larger_sizes(map_, profile, legal_octets)
    return f"{message}; {_next_sizes(larger)}" if larger else message


def larger_sizes(map_: Map, profile: Profile, legal_octets: tuple[int, ...]) -> tuple[int, ...]:
    """Return the next legal sizes in octets that hold a map."""
    if profile.sizes.from_map and not legal_octets:
        return (map_.size_octets,)  # Nobody lists sizes: any whole octet will do.
    return profile.sizes.next_legal(map_.size_octets, 3, legal_octets)


def _next_sizes(larger: tuple[int, ...]) -> str:
    noun = "octet" if larger == (1,) else "octets"
    sizes = "size" if len(larger) == 1 else "sizes"
    return f"next legal {sizes}: {', '.join(map(str, larger))} {noun}"


@rule(
    name="illegal-size",
    severity="error",
    scope="map",
    title="The safety data have a size the profile does not allow",
    why="A frame of an illegal size cannot be built, or the device cuts or pads it and the "
    "CRCs land elsewhere.",
    remedy="change the size of the data until it is legal",
    source="legal sizes: the sources on the profile's page",
)
def illegal_size(context: Context, find: Finder) -> Iterator[Finding]:
    """Find data whose size is not legal, unless a disagreement already explains it."""
    profile = context.profile
    if profile is None:
        return
    for view in context.views:
        texts = [
            illegal_size_text(map_, profile, end.connection_table.legal_octets)
            if map_.entries or not (profile.one_way or profile.sizes.from_map)
            else ""
            for end, map_ in view.sides
        ]
        if view.direction.sent.size_bits != view.direction.received.size_bits and "" in texts:
            continue  # One end is right: the disagreement is the cause and names the numbers.
        merged: dict[str, list[int]] = {}
        for index, text in enumerate(texts):
            if text:
                merged.setdefault(text, []).append(index)
        for message, sides in merged.items():
            from .shape_repairs import resizings  # deferred, as all repairs: most maps are right.

            spots = [
                spot(end, max(map_.entries, key=lambda entry: entry.end, default=None))
                for end, map_ in (view.sides[index] for index in sides)
            ]
            yield find(
                message,
                spots,
                direction=view.direction,
                remedies=resizings(view, profile, sides),
            )


@rule(
    name="no-signals",
    severity="warning",
    scope="connection",
    title="Neither end declares a signal",
    why="Two empty maps agree about nothing; the wrong files were named, or rows were lost.",
    remedy="name the maps that hold the signals",
)
def no_signals(context: Context, find: Finder) -> Iterator[Finding]:
    """Report a connection without any signal."""
    if not any(map_.signals for view in context.views for _, map_ in view.sides):
        yield find(
            "no signal is declared in either direction: there is nothing to compare",
            [Spot(end=end.name, where=end.locate("end.name")) for end in context.connection.ends],
        )


@map_rule(
    name="hole",
    severity="error",
    title="Bits nobody declared",
    why="An undeclared run is where a second editor puts the next bit, or where a shift hides: "
    "nothing says whether it was left out or forgotten.",
    remedy="declare the bits as reserved",
)
def hole(map_: Map, _: Map) -> Iterator[Flaw]:
    """Find runs of bits between entries that neither a signal nor a reserve declares."""
    end = 0
    for entry in sorted(map_.entries, key=lambda entry: entry.start):
        if entry.start > end:
            from .shape_repairs import declared  # deferred as above.

            width = entry.start - end
            text = f'declare {{ at = "{Place.at(end)}", reserved = {width} }}'
            yield Flaw(
                message=f"{count(width, 'bit')} at {run_text(end, entry.start)} "
                f"{'is' if width == 1 else 'are'} not declared",
                entries=(entry,),
                repairs=((text, partial(declared, map_, end, width)),),
            )
        end = max(end, entry.end)


@map_rule(
    name="overlap",
    severity="error",
    title="Two entries share a bit",
    why="One bit cannot carry two meanings; which one wins depends on the tool that reads the map.",
    remedy="find out which of the two the bits carry, then place or remove the other one",
)
def overlap(map_: Map, other: Map) -> Iterator[Flaw]:
    """Find entries that claim the same bits."""
    before: Signal | Reserved | None = None
    ways: Disentangling | None = None
    for entry in sorted(map_.entries, key=lambda entry: (entry.start, entry.end)):
        if before is not None and entry.start < before.end:
            if ways is None:
                from .shape_repairs import Disentangling  # deferred as above.

                ways = Disentangling(map_, other)
            end = min(entry.end, before.end)
            bits = end - entry.start
            yield Flaw(
                message=f"{_entry_name(before)} and {_entry_name(entry)} share "
                f"{count(bits, 'bit')} at {run_text(entry.start, end)}",
                entries=(before, entry),
                repairs=tuple(ways.of(before, entry)),
            )
        if before is None or entry.end > before.end:
            before = entry


def _entry_name(entry: Signal | Reserved) -> str:
    return entry.name if isinstance(entry, Signal) else f"the reserve at {entry.at}"


@map_rule(
    name="place-order",
    severity="warning",
    title="Entries do not stand in the order of their places",
    why="People count rows. A row in the wrong line is read as the wrong bit.",
    remedy="sort the rows by place",
)
def place_order(map_: Map, _: Map) -> Iterator[Flaw]:
    """Find the first entry that stands behind a later place."""
    for before, entry in zip(map_.entries, map_.entries[1:], strict=False):
        if entry.start < before.start:
            yield Flaw(
                message=f"{_entry_name(entry)} ({entry.at}) stands behind "
                f"{_entry_name(before)} ({before.at})",
                entries=(entry,),
                repairs=(("sort the rows by place", partial(tuple, map_.entries)),),
            )
            return


@map_rule(
    name="reserved-not-zero",
    severity="error",
    title="Reserved bits are sent as something else than 0",
    why="Whoever takes the bits from the reserve later reads the old constant as a command.",
    remedy="send reserved bits as 0, or declare them as a signal",
)
def reserved_not_zero(map_: Map, _: Map) -> Iterator[Flaw]:
    """Find reserved runs with a value."""
    for run in map_.reserved:
        if run.value:
            from .shape_repairs import zeroed  # deferred as above.

            yield Flaw(
                message=f"the reserve at {run_text(run.start, run.end)} carries the value "
                f"{run.value}",
                entries=(run,),
                repairs=(("send the reserved bits as 0", partial(zeroed, map_, run)),),
            )


@map_rule(
    name="padding-as-signal",
    severity="warning",
    title="Padding is declared as a signal",
    why="A padding entry that looks like a signal gets bound, tested and counted, and it is "
    "not available as a gap when a bit is added.",
    remedy="declare it with reserved = WIDTH instead of a name",
)
def padding_as_signal(map_: Map, _: Map) -> Iterator[Flaw]:
    """Find signals whose names say that they are padding."""
    for signal in map_.signals:
        if _is_padding(signal.name):
            from .shape_repairs import moved  # deferred as above.

            text = f'declare {{ at = "{signal.at}", reserved = {signal.width} }}'
            yield Flaw(
                message=f"{signal.name} ({place_text(signal)}) is padding by its name but "
                "declared as a signal",
                entries=(signal,),
                repairs=((text, partial(moved, map_, signal, None)),),
            )


def _is_padding(name: str) -> bool:
    begins = name.casefold().startswith(_PADDING_STARTS)
    return begins and re.fullmatch(_PADDING_NAME, name, re.IGNORECASE) is not None


@rule(
    name="value-across-blocks",
    severity="error",
    scope="map",
    title="A value crosses a block border of the frame",
    why="The frame carries a CRC after each block. A value in two blocks is cut apart on the "
    "wire, and tools that map the frame word by word bind its halves wrongly. A value longer "
    "than a block cannot help it and is not reported where it starts at a block.",
    remedy="move the value so that it starts at a block",
    source="public page on safety process-data mapping that refers to ETG.5120 clause 5.3.3, "
    "and public device tables: a CRC stands after every two data octets",
)
def value_across_blocks(context: Context, find: Finder) -> Iterator[Finding]:
    """Find values that straddle a block border without starting at one."""
    if context.profile is None or context.profile.block_octets is None:
        return
    block_bits = 8 * context.profile.block_octets

    def judge(map_: Map, _: Map) -> Iterator[Flaw]:
        for signal in map_.signals:
            inside = signal.start % block_bits
            if inside and inside + signal.width > block_bits:
                from .shape_repairs import free_blocks, moves  # deferred as above.

                border = signal.start - inside + block_bits
                yield Flaw(
                    message=f"{signal.name} ({place_text(signal)}, {signal.width} bits) crosses "
                    f"the block border at {Place.at(border)}; a block is {block_bits >> 3} octets",
                    entries=(signal,),
                    repairs=tuple(
                        repair
                        for start in dict.fromkeys((border, *free_blocks(map_, signal, block_bits)))
                        for repair in moves(f"start it at {Place.at(start)}", map_, signal, start)
                    ),
                )

    yield from per_map(context, find, judge)


@rule(
    name="member-type",
    severity="error",
    scope="map",
    title="A signal has a type or width that the profile does not carry",
    why="The profile carries members of listed types only, each in whole octets; its "
    "signature covers their types and order (not their names).",
    remedy="use one of the listed types",
    source="member types: the sources on the profile's page",
)
def member_type(context: Context, find: Finder) -> Iterator[Finding]:
    """Find signals that are no member type of the profile, and reserved runs between members."""
    if context.profile is None or not context.profile.member_types:
        return
    allowed = context.profile.member_types
    names = ", ".join(f"{kind} of {width}" for kind, width in allowed)

    def judge(map_: Map, _: Map) -> Iterator[Flaw]:
        for signal in map_.signals:
            if (signal.type, signal.width) not in allowed or signal.at.bit:
                yield Flaw(
                    message=f"{signal.name} ({place_text(signal)}) must be a member of whole "
                    f"octets ({names} bits), not {signal.type} of {signal.width} at {signal.at}",
                    entries=(signal,),
                )

    yield from per_map(context, find, judge)


def size_consequence(view: View, profile: Profile | None, cause: Cause) -> str:
    """Return what a difference of size means for the frame, empty where sizes are equal."""
    direction = view.direction
    sent, received = direction.sent.size_bits, direction.received.size_bits
    if sent == received or not cause.delta:
        return ""
    text = (
        f"the data are {sent} bits at {direction.producer.name} and {received} at "
        f"{direction.consumer.name}"
    )
    for end, map_ in view.sides:
        illegal = profile and illegal_size_text(map_, profile, end.connection_table.legal_octets)
        if illegal:
            text += f"; {map_.size_bits} bits are no legal size at {end.name}"
            larger = profile and profile.sizes.next_legal(
                map_.size_octets, 3, end.connection_table.legal_octets
            )
            if larger:
                text += f" ({_next_sizes(larger)})"
    return text
