"""One reason why places or sizes differ, as a value."""

from __future__ import annotations

from .._model import Signal
from .._value import NamedTuple
from .match import Pair


class Cause(NamedTuple):
    """One reason why places or sizes differ.

    ``kind`` is one of: one-sided, shift, swap, rotation, moved, octet order, bit numbering,
    nibbles, granularity, rearranged, width, reserve, size. ``pairs`` are the signals it displaces,
    in place order of the left map (of a width: the resized one first); ``left`` and ``right`` the
    signals that only that end has. ``delta`` counts bits by which the right end is later, wider
    or longer; of a swap or rotation, those by which all its bits are later besides. ``absorbed``
    tells that a gap takes the shift up again, ``repeated`` that a shift grows octet by octet.
    ``word_octets`` is the word in which octets are exchanged or bits counted from the other side
    (0: whole octets stand in some other order),
    ``octets`` are the octets of the left map that a pattern is about, empty for all of them.
    """

    kind: str
    pairs: tuple[Pair, ...] = ()
    left: tuple[Signal, ...] = ()
    right: tuple[Signal, ...] = ()
    delta: int = 0
    absorbed: bool = False
    repeated: bool = False
    word_octets: int = 0
    octets: tuple[int, ...] = ()
