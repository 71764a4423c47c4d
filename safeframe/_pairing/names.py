"""Whether two different names are one name, misspelt: in doubt they are two."""

from __future__ import annotations

import re
import unicodedata

_WORDS = r"[^\W\d_]+|\d+"
_SHORTEST = 5
"""Letters from which a word is long enough to be called misspelt: rear and gear, stop and step,
fwd and rev differ by as little as a slip does. Chosen by trial, from no standard."""
_LONG = 7
"""Letters from which a lost letter hardly leads to another word; chosen by trial."""

# Letters of other alphabets that look like Latin ones in common engineering fonts: the usual
# suspects of Unicode TS 39, from memory and not complete.
_LOOKALIKES = str.maketrans(
    "АВЕКМНОРСТХУавекмнорстхуіјѕԁѵΑΒΕΖΗΙΚΜΝΟΡΤΥΧαονρικ",
    "ABEKMHOPCTXYabekmhopctxyijsdvABEZHIKMNOPTYXaovpik",
)
_SEPARATORS = str.maketrans("", "", "_-. ")

_ROWS = ("qwertyuiop", "asdfghjkl", "zxcvbnm")

_VOWELS = ("a", "e", "i")
_ENDINGS = ("", "s", "es", "d", "ed", "r", "er", "n", "en", "ing", "ly", "al")


def _folded(name: str) -> str:
    """Return a name with case, compatibility forms and look-alike letters taken out."""
    if not name.isascii():
        name = unicodedata.normalize("NFKC", name).translate(_LOOKALIKES)
    return name.casefold()


def skeleton(name: str) -> str:
    """Return a name with case, separators, compatibility forms and look-alike letters removed."""
    return _folded(name).translate(_SEPARATORS)


def near_names(left: str, right: str) -> bool:
    """Return whether two different names are probably meant to be one, misspelt.

    They are where they differ in case, separators or look-alike letters only, or by one slip of
    the hand inside one long word that is not a word of its own meaning. Numbers must be equal, and
    as many: brake1 and brake2, zone1_1 and zone11, brake_a and brake_b, ok and nok, valid and
    invalid, rear and gear, falling and failing are different things.
    """
    lefts, rights = (re.findall(_WORDS, _folded(name)) for name in (left, right))
    if _digits(lefts) != _digits(rights) or _raised(left) != _raised(right):
        return False
    if skeleton(left) == skeleton(right):
        return True
    if len(lefts) != len(rights):
        return False
    differing = [(a, b) for a, b in zip(lefts, rights, strict=True) if a != b]
    return len(differing) == 1 and _slip(*differing[0])


def alike(left: str, right: str) -> bool:
    """Return whether a reader may take two names for one, though they are two: one word differs.

    >>> from safeframe._pairing import alike
    >>> alike("gate_east_locked", "gate_west_locked"), alike("gate_east_locked", "horn_on")
    (True, False)
    """
    lefts, rights = (re.findall(_WORDS, _folded(name)) for name in (left, right))
    if skeleton(left) == skeleton(right):
        return True
    if len(lefts) != len(rights) or len(lefts) < 2 or _digits(lefts) != _digits(rights):
        return False
    differing: int = sum(a != b for a, b in zip(lefts, rights, strict=True))
    return differing == 1


def _digits(words: list[str]) -> list[str]:
    return [word for word in words if word.isdecimal()]


def _raised(name: str) -> list[str]:
    """Return the powers, indices and fractions of a name: 10² is not 102, however it looks."""
    if name.isascii():
        return []
    return [char for char in name if unicodedata.decomposition(char).startswith(_RAISED)]


_RAISED = ("<super>", "<sub>", "<fraction>")


def _slip(left: str, right: str) -> bool:
    """Return whether one of two different words is the other one, mistyped."""
    short, long = sorted((left, right), key=len)
    if len(short) < _SHORTEST or left[0] != right[0]:
        return False
    kind = _edit(short, long)
    known = sum(bool(_stems(word)) for word in (left, right))
    if left[-1] != right[-1]:
        # Endings make words: close and closed. Only a word without its ending is none.
        return known == 1 and (kind == "transposed" or (kind == "cut" and bool(_stems(long))))
    if known == 2:
        return kind == "doubled" and _stems(left) == _stems(right)  # stoped, traveled
    if kind in ("transposed", "doubled"):
        return True
    if kind == "lost":
        return known == 1 or len(long) >= _LONG
    return kind == "neighbouring key" and known == 1


def _edit(short: str, long: str) -> str:
    """Return the one slip that makes one word of another, empty for more than one."""
    start = next((n for n, (a, b) in enumerate(zip(short, long, strict=False)) if a != b), None)
    if start is None:
        return "cut" if len(long) == len(short) + 1 else ""
    if len(short) == len(long):
        a, b = short[start:], long[start:]
        if a[:2] == b[1::-1] and a[2:] == b[2:]:
            return "transposed"
        return "neighbouring key" if a[1:] == b[1:] and _neighbours(a[0], b[0]) else ""
    if short[start:] != long[start + 1 :]:
        return ""
    return "doubled" if long[start] == long[start - 1] else "lost"


def _neighbours(left: str, right: str) -> bool:
    """Tell whether two letters are neighbours on the rows of a keyboard."""
    spots = {
        letter: (column + row / 2, row)
        for row, letters in enumerate(_ROWS)
        for column, letter in enumerate(letters)
    }
    if left not in spots or right not in spots:
        return False
    (x, y), (other_x, other_y) = spots[left], spots[right]
    return abs(x - other_x) <= 1 and abs(y - other_y) <= 1


def _stems(word: str) -> set[str]:
    """Return the words of the trade of which a word may be a form, or which it is."""
    from .words import STEMS  # deferred: names agree in most connections.

    found: set[str] = set()
    for ending in _ENDINGS:
        if word.endswith(ending):
            stem = word[: len(word) - len(ending)]
            forms = [stem]
            if ending[:1] in _VOWELS:
                forms.append(f"{stem}e")
            if stem[-2:] == stem[-1:] * 2:
                forms.append(stem[:-1])  # stop, stopped
            found |= STEMS.intersection(forms)
    return found
