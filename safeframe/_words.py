"""Words that every text shares: numbers with their nouns, directions, ranges."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import groupby

ARROW = " -> "
MOST_LISTED = 20
"""Names that one message lists; by choice."""


def command_lines(command: str, columns: int) -> list[str]:
    """Return a command for a POSIX shell in lines, broken between its words, never within quotes.

    An option stays with its value; a word that is wider stands on a line of its own.
    """
    import re  # deferred: few runs print a command.

    first, *words = re.findall(
        r"""(?:-[-\w]+ (?=[^-\s]))?(?:[^\s"']|"[^"]*"|'[^']*'|["'])+""", command
    )
    lines = [first]
    for word in words:
        if len(lines[-1]) + len(word) + 3 > columns:
            lines.append(f"    {word}")
        else:
            lines[-1] += f" {word}"
    return [*(f"{line} \\" for line in lines[:-1]), lines[-1]]


def count(number: int, noun: str, plural: str = "") -> str:
    """Return a number with its noun: ``1 bit``, ``2 bits``.

    >>> count(1, "octet"), count(0, "octet"), count(2, "entry", "entries")
    ('1 octet', '0 octets', '2 entries')
    """
    return f"{number} {noun}" if number == 1 else f"{number} {plural or f'{noun}s'}"


def counting(text: str) -> list[tuple[int, str]]:
    """Return what to sort names by, so that they stand as people count: VB2 before VB10.

    >>> sorted(["VB10", "VB2", "VA"], key=counting)
    ['VA', 'VB2', 'VB10']
    """
    parts: list[tuple[int, str]] = []
    for digits, run in groupby(text, key=lambda sign: "0" <= sign <= "9"):
        part = "".join(run)
        number = part.lstrip("0")
        parts.append((len(number), number) if digits else (-1, part))
    return [*parts, (-2, text)]


def guess(word: str, known: Iterable[str]) -> str:
    """Return the known word that a misspelt one resembles most, or an empty text.

    >>> guess("permit_pu", ["permit_up", "fault_ack"]), guess("speed", ["fault_ack"])
    ('permit_up', '')
    """
    from difflib import get_close_matches  # deferred: needed for errors only.

    # Comparing takes the product of both lengths, so no more than a word is compared.
    found = get_close_matches(word[:40], known, n=1)
    return found[0] if found else ""


def milliseconds(time_us: int) -> str:
    """Return a time in milliseconds, exactly.

    >>> milliseconds(1_234_567), milliseconds(12_000)
    ('1234.567 ms', '12 ms')
    """
    return f"{time_us / 1e3:.3f}".rstrip("0").rstrip(".") + " ms"


def seconds(time_us: int) -> str:
    """Return a time in seconds, exactly.

    >>> seconds(1_234_567_890), seconds(12_000_000)
    ('1234.56789 s', '12 s')
    """
    return f"{time_us / 1e6:.6f}".rstrip("0").rstrip(".") + " s"


def moment(time_us: int) -> str:
    """Return when something was, in seconds with as many digits as it needs, three at least.

    >>> moment(120_000), moment(132_600)
    ('0.120 s', '0.132600 s')
    """
    return f"{time_us / 1e6:.{6 if time_us % 1000 else 3}f} s"


def listed(names: Sequence[str]) -> str:
    """Return names joined by "and", cut with a word where there are more than anybody reads.

    >>> listed(["a", "b"]), listed(["a"] * 40)[-11:]
    ('a and b', 'and 20 more')
    """
    shown = names[:MOST_LISTED]
    more = [f"{len(names) - len(shown)} more"] if len(names) > len(shown) else []
    return " and ".join([*shown, *more])


def way(producer: str, consumer: str) -> str:
    """Return a direction as people write it; a name that holds an arrow itself is quoted.

    >>> way("SC1", "LX"), way("A -> B", "LX")
    ('SC1 -> LX', '"A -> B" -> LX')
    """
    return ARROW.join(f'"{name}"' if "->" in name else name for name in (producer, consumer))


def ranges(numbers: Iterable[int]) -> list[range]:
    """Return ascending numbers as runs without a hole.

    >>> ranges([0, 1, 2, 5])
    [range(0, 3), range(5, 6)]
    """
    runs: list[range] = []
    for number in numbers:
        if runs and runs[-1].stop == number:
            runs[-1] = range(runs[-1].start, number + 1)
        else:
            runs.append(range(number, number + 1))
    return runs
