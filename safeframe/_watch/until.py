"""Waiting for something to be seen, in the words of relations.

``CONDITIONS`` alone, or ``CONDITIONS within N ms of CONDITIONS``, or as relations are printed,
``CONDITIONS follows CONDITIONS after N ms within N ms``. Conditions are ``NAME = NUMBER``, several
numbers joined by ``or``, several conditions by ``and``.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace

from .._errors import UsageError
from .._link import Link
from .._model import Conditions, Relation
from .._words import moment
from ..capture import Both, Decoder, Note, Observer, Packet
from ..relations import faults
from ..relations._rules import CheckedRelation, rules_of

_FORM = "NAME = NUMBER [or NUMBER] [and NAME = NUMBER] [within N ms of NAME = NUMBER]"
_WITHIN_OF = re.compile(r"(.+?)\s+within\s+(\d+)\s*ms\s+of\s+(.+)")
_FOLLOWS = re.compile(
    r"(.+?)\s+follows\s+(.+?)(?:\s+after\s+(\d+)\s*ms)?(?:\s+within\s+(\d+)\s*ms)?"
)
_CONDITION = re.compile(r"([^=\s]+)\s*=\s*(.+)")

Number = int | float


class ReceivedValues(Observer):
    """Keeps the values that both receivers use, and looks whether conditions hold for them."""

    def __init__(self, link: Link) -> None:
        self._decoders = tuple(Decoder(link.sent(side), link.received(side)) for side in (0, 1))
        self._state: tuple[dict[str, Number], dict[str, Number]] = ({}, {})

    def take(self, side: int, both: Both) -> None:
        """Keep what the receiver of a side reads, and nothing that it read before."""
        word = ("sends", "receives")[side]
        pairs = zip(self._decoders[side].received, both.received, strict=True)
        self._state[side].clear()
        self._state[side].update(
            (f"{word}.{signal.name}", number) for signal, number in pairs if number is not None
        )

    def forget(self, *sides: int) -> None:
        """Know nothing of these sides any more."""
        for side in sides:
            self._state[side].clear()

    def note(self, kind: str, note: Note) -> None:
        """Forget what was in use where nobody knows whether it still is, or what is instead."""
        if kind == "history lost":
            self.forget(0, 1)
        elif kind == "size" and note.side is not None:
            self.forget(note.side)

    def meets(self, conditions: Mapping[str, frozenset[Number]]) -> bool | None:
        """Tell whether all conditions hold, None while a signal of them is not known."""
        known = self._state[0] | self._state[1]
        if not conditions.keys() <= known.keys():
            return None
        return all(known[key] in numbers for key, numbers in conditions.items())


class Until(ReceivedValues):
    """Sees whether what is waited for has happened: what counts are the values receivers use.

    ``seen_us`` is the time of the recording at which it happened, ``is_seen`` tells that it did.
    A first condition with a time counts only where its beginning was seen. ``is_untimed`` tells
    that it would have been seen but for a time that nobody states.
    """

    def __init__(self, link: Link, rule: CheckedRelation, text: str) -> None:
        super().__init__(link)
        self.text = text
        self._relation = rule.relation
        self._when = rule.when
        self._then = rule.then if rule.relation.follows else {}
        self._was: bool | None = None
        self._since: float | None = None
        self._began = self._has_begun = False
        self.is_seen = self.is_untimed = False
        self.seen_us: int | None = None
        self._start_us: int | None = None

    def begins(self, time_us: int) -> None:
        """Take the time of the first packet: until it passes, no time is known."""
        self._start_us = time_us

    def data(self, packet: Packet, side: int, both: Both, data: bytes) -> None:
        """Look at data in use."""
        self._look(packet.time_us, side, both)

    def fails_safe(self, time_us: int | None, side: int, both: Both) -> None:
        """Look at the values that are used instead."""
        self._look(time_us, side, both)

    def forget(self, *sides: int) -> None:
        """Know nothing of these sides, nor what held before."""
        super().forget(*sides)
        self._was, self._since, self._began, self._has_begun = None, None, False, False

    def told(self, start_us: int | None) -> str:
        """Return whether and when it was seen, as one line."""
        if not self.is_seen:
            untimed = "; not judged where it came without a time" * self.is_untimed
            return f"not seen: {self.text}{untimed}"
        when = ""
        if self.seen_us is not None:
            when = f" at {moment(self.seen_us - (start_us or 0))}"
        return f"seen{when}: {self.text}"

    def _look(self, time_us: int | None, side: int, both: Both) -> None:
        if self.is_seen:
            return
        self.take(side, both)
        if self._holds(time_us):
            self.is_seen, self.seen_us = True, time_us

    def _holds(self, time_us: int | None) -> bool:
        when = self.meets(self._when)
        if not self._then:
            return when is True
        then = self.meets(self._then)
        was, self._was = self._was, when
        if then is not True:
            self._since, self._began, self._has_begun = None, then is False, False
            return False
        at_once, self._began = self._began, False
        if at_once:
            self._since, self._has_begun = time_us, True
        if when is not True or was is not False or not self._has_begun:
            return False
        after, within = self._relation.after_ms, self._relation.within_ms
        if not after and (within is None or at_once):
            return True  # The order is enough.
        if self._since is None or time_us in (None, self._start_us):
            self.is_untimed |= not at_once
            return False
        passed = (time_us - self._since) / 1000
        return passed >= after and (within is None or passed <= within)


def read_until(text: str, link: Link) -> Until:
    """Return what waits for ``text``; raises UsageError for what is no condition of these maps."""
    return Until(link, checked(link, _relation(text)), text)


def _relation(text: str) -> Relation:
    words = text.strip()
    for kind in ("requires", "excludes"):
        if re.search(rf"\s{kind}\s", words):
            raise UsageError(
                f"--until waits for something to be seen; a relation that {kind} something is "
                "broken or not: state it in a map, and capture judges it"
            )
    after, within, then = "0", None, ""
    if found := _WITHIN_OF.fullmatch(words):
        when, within, then = found.groups()
    elif found := _FOLLOWS.fullmatch(words):
        when, then, after, within = found[1], found[2], found[3] or "0", found[4]
    else:
        when = words
    return Relation(
        name="--until",
        when=conditions_of(when, text),
        # A relation must state one of its kinds; what stands alone is waited for alone.
        follows=conditions_of(then, text) if then else (),
        requires=() if then else conditions_of(when, text),
        after_ms=int(after),
        within_ms=None if within is None else int(within),
        reason="",
    )


def conditions_of(words: str, text: str, option: str = "--until", form: str = _FORM) -> Conditions:
    """Return ``NAME = NUMBER`` and so on as conditions; raises UsageError that names the option."""
    found = []
    for part in re.split(r"\s+and\s+", words.strip()):
        match = _CONDITION.fullmatch(part.strip())
        if match is None:
            raise UsageError(f"{option} must be {form}, not {text!r}")
        words_of = re.split(r"\s+or\s+", match[2].strip())
        numbers = tuple(_number(each, text, option) for each in words_of)
        found.append((match[1], numbers))
    return tuple(found)


def _number(word: str, text: str, option: str) -> int:
    try:
        return int(word, 0)
    except ValueError:
        message = f"{option}: {word!r} must be a whole number before scaling, in {text!r}"
        raise UsageError(message) from None


def checked(link: Link, relation: Relation) -> CheckedRelation:
    """Return a relation between the signals as both receivers read them, by keys.

    What they read is taken for an end, so that names are found as in a map. Raises UsageError
    where the relation does not fit, named as the option it comes from.
    """
    view = replace(
        link.connection.first,
        name=link.connection.name,
        sends=link.received(0),
        receives=link.received(1),
        relations=(relation,),
    )
    wrong = dict.fromkeys(
        each.message + (f" ({each.remedy})" if each.remedy else "") for each in faults(view)
    )
    if wrong:
        raise UsageError(f"{relation.name}: {'; '.join(wrong)}")
    (rule,) = rules_of(view)
    return rule
