"""Rules about what the two ends think one and the same signal means."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence

from .._bits import reverse_field
from .._canonical import alike, form
from .._findings import Finding
from .._model import Signal
from .._pairing import Pair
from .._value import NamedTuple
from .phrases import code_points, pair_spots, place_text
from .registry import Context, Finder, View, rule
from .remedies import Remedy


def _pairs(context: Context) -> Iterator[tuple[View, Pair]]:
    for view in context.views:
        for pair in view.unequal:
            yield view, pair


def _differing(
    context: Context, find: Finder, what: str, attribute: str, text: Callable[[Signal], str]
) -> Iterator[Finding]:
    """Report every pair whose ``attribute`` differs, with both texts."""
    for view, pair in _pairs(context):
        if not alike(pair.left, pair.right, attribute):
            texts = text(pair.left), text(pair.right)
            yield _report(view, pair, find, _Differing(what, attribute, *texts))


class _Differing(NamedTuple):
    """What of a pair differs, in words, and its texts at both ends."""

    what: str
    attribute: str
    left: str
    right: str
    cause: str = ""


def _report(view: View, pair: Pair, find: Finder, differing: _Differing) -> Finding:
    from .attribute_remedies import stated  # deferred: most signals mean the same at both ends.

    producer, consumer = view.direction.producer.name, view.direction.consumer.name
    message = (
        f"{differing.what} of {pair.left.name} ({place_text(pair.left)}) is {differing.left} at "
        f"{producer} and {differing.right} at {consumer}"
    )
    texts = differing.left, differing.right
    message += code_points(*(getattr(one, differing.attribute) for one in (pair.left, pair.right)))
    remedies = stated(view, pair, differing.what, differing.attribute, texts)
    return _told(view, pair, find, message, differing.cause, remedies)


def _told(
    view: View,
    pair: Pair,
    find: Finder,
    message: str,
    cause: str = "",
    remedies: Iterable[Remedy] = (),
    culprits: Sequence[tuple[str, str]] = (),
) -> Finding:
    """Return a finding about a pair, with its places at both ends and its witness."""
    return find(
        message,
        pair_spots(view, (pair,)),
        direction=view.direction,
        cause=cause,
        counterexample=find.witness(view.direction, [(pair.left, pair.right)]),
        remedies=remedies,
        culprits=culprits,
    )


@rule(
    name="type-differs",
    severity="error",
    scope="direction",
    title="The two ends read a value as different types",
    why="The same bits become another number: a negative one, a fraction, a code.",
    remedy="find out which type the value has, then declare it at both ends",
)
def type_differs(context: Context, find: Finder) -> Iterator[Finding]:
    """Find pairs of different type; a difference of width alone is another rule's."""
    for view, pair in _pairs(context):
        left, right = pair.left, pair.right
        by_width = left.width != right.width and {left.type, right.type} == {"bool", "uint"}
        if left.type != right.type and not by_width:
            yield _report(view, pair, find, _Differing("the type", "type", left.type, right.type))


@rule(
    name="order-differs",
    severity="error",
    scope="direction",
    title="The two ends read the octets of a value in different order",
    why="256 read from the other side is 1: small values look like large ones.",
    remedy="find out which order the device uses, then declare it at both ends",
)
def order_differs(context: Context, find: Finder) -> Iterator[Finding]:
    """Find values that one end reads least and the other most significant octet first."""
    for view, pair in _pairs(context):
        if pair.left.order != pair.right.order and not alike(pair.left, pair.right, "order"):
            orders = f"{pair.left.order}-endian", f"{pair.right.order}-endian"
            differing = _Differing("the octet order", "order", *orders, "octet order")
            yield _report(view, pair, find, differing)


@rule(
    name="renamed-signal",
    severity="error",
    scope="direction",
    title="The two ends give the same bits different names",
    why="Either one end was renamed or the bits really mean two things; nothing on the wire "
    "tells which.",
    remedy="find out which signal the bits carry, then have that one there at both ends",
)
def renamed_signal(context: Context, find: Finder) -> Iterator[Finding]:
    """Find bits with two names that do not look alike."""
    for view, pair in _pairs(context):
        if pair.how == "place" and not _told_as_duplicate(context, view, pair):
            direction = view.direction
            message = (
                f"the bits at {place_text(pair.left)} are called {pair.left.name} at "
                f"{direction.producer.name} and {pair.right.name} at {direction.consumer.name}"
            )
            # Another meaning than a baseline knows is another finding.
            texts = [form(signal, "one_means") for signal in (pair.left, pair.right)]
            culprits = [] if texts[0] == texts[1] else [("", f"one_means {texts}")]
            yield _told(view, pair, find, message, culprits=culprits)


def _told_as_duplicate(context: Context, view: View, pair: Pair) -> bool:
    """Tell whether a name is there twice, which is the cause and names the place as well."""
    return not _allowed(context, "duplicate-name") and any(
        [one.name for one in map_.signals].count(signal.name) > 1
        for (_, map_), signal in zip(view.sides, (pair.left, pair.right), strict=True)
    )


def _allowed(context: Context, name: str) -> bool:
    """Tell whether an end allows findings of a rule: then they must not stand for others."""
    return any(one.rule == name for end in context.connection.ends for one in end.allowances)


@rule(
    name="near-miss-name",
    severity="warning",
    scope="direction",
    title="A name is spelt differently at the two ends",
    why="Tools that pair by name lose the signal; people read over it.",
    remedy="spell the name in the same way at both ends",
)
def near_miss_name(context: Context, find: Finder) -> Iterator[Finding]:
    """Find pairs whose names differ by spelling, look-alike letters or normalisation only."""
    for view, pair in _pairs(context):
        if pair.how == "near-name":
            from .attribute_remedies import spellings  # deferred as above.

            direction = view.direction
            note = (
                ""
                if ascii(pair.left.name)[1:-1] == pair.left.name
                and ascii(pair.right.name)[1:-1] == pair.right.name
                else (f" (as code points: {pair.left.name!a} and {pair.right.name!a})")
            )
            yield find(
                f"{pair.left.name} at {direction.producer.name} is {pair.right.name} at "
                f"{direction.consumer.name}{note}",
                pair_spots(view, (pair,)),
                direction=direction,
                cause="near-miss name",
                remedies=spellings(view, pair),
            )


@rule(
    name="safe-value-differs",
    severity="error",
    scope="direction",
    title="The two ends assume different values on loss of communication",
    why="On a break the consumer takes a value that the producer's side counts as active.",
    remedy="decide which safe value is right, then state it at both ends",
)
def safe_value_differs(context: Context, find: Finder) -> Iterator[Finding]:
    """Find pairs with different safe values; two opposite bits are called inverted."""
    for view, pair in _pairs(context):
        if not alike(pair.left, pair.right, "safe"):
            cause = "inverted safe value" if pair.left.width == 1 else "safe value"
            values = str(pair.left.safe), str(pair.right.safe)
            yield _report(view, pair, find, _Differing("the safe value", "safe", *values, cause))


@rule(
    name="meaning-differs",
    severity="error",
    scope="direction",
    title="The two ends describe what a 1 stands for differently",
    why="An inverted meaning passes every test of length, checksum and wiring.",
    remedy="find out what a 1 stands for, then write it at both ends",
)
def meaning_differs(context: Context, find: Finder) -> Iterator[Finding]:
    """Find pairs whose one_means texts differ, apart from names told elsewhere."""
    for view, pair in _pairs(context):
        left, right = pair.left.one_means, pair.right.one_means
        told = _told_as_renamed(context, pair) or _changed_names(view, pair)
        if not alike(pair.left, pair.right, "one_means") and not told:
            texts = [f"{text!r}" if text.strip() else "not stated" for text in (left, right)]
            differing = _Differing("the meaning of 1", "one_means", *texts)
            yield _report(view, pair, find, differing)


def _told_as_renamed(context: Context, pair: Pair) -> bool:
    """Tell whether other names at one place are the cause, and nobody allows them."""
    return pair.how == "place" and not _allowed(context, "renamed-signal")


def _changed_names(view: View, pair: Pair) -> bool:
    """Tell whether a swap or rotation exchanged names alone: each place has one meaning."""
    cause = next(
        (
            one
            for one in view.causes
            if one.kind in ("swap", "rotation") and any(pair is told for told in one.pairs)
        ),
        None,
    )
    if cause is None or cause.delta:
        return False
    here = {one.left.start: form(one.left, "one_means") for one in cause.pairs}
    return here == {one.right.start: form(one.right, "one_means") for one in cause.pairs}


@rule(
    name="edge-differs",
    severity="error",
    scope="direction",
    title="The two ends act on different edges of an acknowledge bit",
    why="One end acknowledges on release of the button, the other on pressing it - or on a "
    "button that sticks.",
    remedy="find out which edge acts, then state it at both ends",
)
def edge_differs(context: Context, find: Finder) -> Iterator[Finding]:
    """Find pairs with different acting edges."""
    yield from _differing(
        context, find, "the acting edge", "edge", lambda signal: signal.edge or "none (a level)"
    )


@rule(
    name="codes-differ",
    severity="error",
    scope="direction",
    title="The two ends name the values of a code differently",
    why="The number arrives unchanged and is taken for another command.",
    remedy="find out which table is right, then use it at both ends",
)
def codes_differ(context: Context, find: Finder) -> Iterator[Finding]:
    """Find pairs whose code tables name the same number differently."""
    for view, pair in _pairs(context):
        # Values that fit one end only are the width's fault, which is another finding.
        fits = 1 << min(pair.left.width, pair.right.width)
        left = {value: name for value, name in pair.left.codes if value < fits}
        right = {value: name for value, name in pair.right.codes if value < fits}
        said = [dict(form(signal, "codes")) for signal in (pair.left, pair.right)]
        if left == right or _reversed_codes(pair):
            continue
        differing = [
            f"{value}: {left.get(value, 'not named')} / {right.get(value, 'not named')}"
            f"{code_points(left.get(value, ''), right.get(value, ''))}"
            for value in sorted(left.keys() | right.keys())
            if said[0].get(value) != said[1].get(value)
        ]
        if not differing:
            continue
        from .attribute_remedies import code_tables  # deferred as above.

        direction = view.direction
        message = (
            f"the code points of {pair.left.name} ({place_text(pair.left)}) differ between "
            f"{direction.producer.name} and {direction.consumer.name}: {', '.join(differing)}"
        )
        yield _told(view, pair, find, message, remedies=code_tables(view, pair))


def _reversed_codes(pair: Pair) -> bool:
    """Tell whether one table is the other with the bits of every value in reverse order."""
    left, right = (dict(form(signal, "codes")) for signal in (pair.left, pair.right))
    width = pair.left.width
    return (
        left != right
        and {reverse_field(value, width): name for value, name in left.items()} == right
    )


@rule(
    name="field-bit-order",
    severity="error",
    scope="direction",
    title="The bits inside a field are read in opposite order",
    why="Symmetric values (all 0, all 1) read right, the others become another level.",
    remedy="find out which table is right, then use it at both ends",
)
def field_bit_order(context: Context, find: Finder) -> Iterator[Finding]:
    """Find code tables that agree once the bits of the field are reversed."""
    for view, pair in _pairs(context):
        if _reversed_codes(pair):
            from .attribute_remedies import code_tables  # deferred as above.

            message = (
                f"the code points of {pair.left.name} ({place_text(pair.left)}) agree once its "
                f"{pair.left.width} bits are read in reverse order at "
                f"{view.direction.consumer.name}"
            )
            cause = "bit order inside a field"
            yield _told(view, pair, find, message, cause, code_tables(view, pair))


@rule(
    name="unit-differs",
    severity="error",
    scope="direction",
    title="The two ends give a value different units",
    why="The same number is millimetres here and metres there.",
    remedy="find out which unit is right, then state it at both ends",
)
def unit_differs(context: Context, find: Finder) -> Iterator[Finding]:
    """Find pairs with different units."""
    yield from _differing(context, find, "the unit", "unit", lambda signal: signal.unit or "none")


@rule(
    name="scale-differs",
    severity="error",
    scope="direction",
    title="The two ends scale a value differently",
    why="A limit of 10 becomes 100: the value is in range and wrong.",
    remedy="find out which factor is right, then state it at both ends",
)
def scale_differs(context: Context, find: Finder) -> Iterator[Finding]:
    """Find pairs with different scale factors."""
    yield from _differing(context, find, "the scale", "scale", lambda signal: signal.scale)


@rule(
    name="validity-differs",
    severity="error",
    scope="direction",
    title="The two ends use different validity bits for a value",
    why="One end goes on using a value that the other has declared invalid.",
    remedy="find out which bit says that the value holds, then name it at both ends",
)
def validity_differs(context: Context, find: Finder) -> Iterator[Finding]:
    """Find pairs whose valid_by differs by more than spelling."""
    for view, pair in _pairs(context):
        left, right = form(pair.left, "valid_by"), form(pair.right, "valid_by")
        if left != right and (left, right) not in _names(view):
            texts = left or "none", right or "none"
            yield _report(view, pair, find, _Differing("the validity bit", "valid_by", *texts))


def _names(view: View) -> set[tuple[str, str]]:
    """Return what one and the same signal is called at both ends."""
    return {(pair.left.name, pair.right.name) for pair in view.matching.pairs}
