"""Remedies that have both ends say the same of a signal, one the same as the other."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from typing import Any

from .._model import End, Map, Signal
from .._pairing import Pair
from .._value import replace
from .phrases import doubled_at, which
from .registry import View
from .remedies import Remedy, end_changed


def stated(
    view: View, pair: Pair, what: str, attribute: str, texts: tuple[str, str]
) -> Iterator[Remedy]:
    """Yield the two ways to say the same of a signal at both ends.

    ``what`` is the attribute in words, ``texts`` are what producer and consumer say.
    """
    (producer, _), (consumer, _) = view.sides
    for end, other, own, there, text in (
        (consumer, producer, pair.right, pair.left, texts[0]),
        (producer, consumer, pair.left, pair.right, texts[1]),
    ):
        if text in ("none", "not stated"):
            continue  # What nobody stated is hardly what was meant.
        if attribute == "type" and "code" in (own.type, there.type):
            text += " (with the code table)" if text == "code" else " (without a code table)"
        name, model = which(own, doubled_at(view, end)), which(there, doubled_at(view, other))
        as_at = f"as at {other.name}{model.removeprefix(there.name)}"
        yield Remedy(
            f"state {what}{text and f' {text}'} of {name} at {end.name}, {as_at}",
            end_changed(
                end.name,
                partial(
                    _with_value, sends=end is producer, own=own, there=there, attribute=attribute
                ),
            ),
        )


def _with_value(end: End, *, sends: bool, own: Signal, there: Signal, attribute: str) -> End:
    """Return an end that says of a signal what the other one says."""
    value: Any = {attribute: getattr(there, attribute)}
    if attribute == "type" and "code" in (own.type, there.type):
        value["codes"] = there.codes  # A table stands with a code only.
    made = replace(own, **value)
    map_ = end.sends if sends else end.receives
    entries = [made if entry is own else entry for entry in map_.entries]
    # The rows keep their order: sorting them would mend another finding in passing.
    turned = replace(map_, entries=tuple(entries))
    return replace(end, sends=turned) if sends else replace(end, receives=turned)


def code_tables(view: View, pair: Pair) -> Iterator[Remedy]:
    """Yield the two ways to name the values of a code alike."""
    yield from stated(view, pair, "the code table", "codes", ("", ""))


def spellings(view: View, pair: Pair) -> Iterator[Remedy]:
    """Yield the two ways to spell a name alike."""
    (producer, _), (consumer, _) = view.sides
    for end, other, old, new, sends in (
        (consumer, producer, pair.right.name, pair.left.name, False),
        (producer, consumer, pair.left.name, pair.right.name, True),
    ):
        yield Remedy(
            f"spell it {new} at {end.name}, as at {other.name}",
            end_changed(end.name, partial(_renamed, sends=sends, old=old, new=new)),
        )


def _renamed(end: End, *, sends: bool, old: str, new: str) -> End:
    """Return an end that calls a signal otherwise, wherever its maps name it."""

    def spelt(map_: Map, key: str) -> Map:
        entries = [
            replace(entry, **{key: new})  # type: ignore[arg-type]
            if isinstance(entry, Signal) and getattr(entry, key) == old
            else entry
            for entry in map_.entries
        ]
        return replace(map_, entries=tuple(entries))

    mine, opposite = (end.sends, end.receives) if sends else (end.receives, end.sends)
    mine, opposite = spelt(spelt(mine, "name"), "valid_by"), spelt(opposite, "mirrors")
    mine, opposite = (mine, opposite) if sends else (opposite, mine)
    return replace(end, sends=mine, receives=opposite)
