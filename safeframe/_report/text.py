"""Reports for a human at a terminal."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

from .._findings import SEVERITIES, Counterexample, Finding, Report, Spot, Waived

__all__ = [
    "CAUTION",
    "FEW",
    "PLAIN",
    "Look",
    "clean",
    "columns",
    "findings",
    "not_judged",
    "report",
    "table",
    "wants_color",
]

CAUTION = (
    "Off-line aid, not certified: replaces neither review nor validation; "
    "local codes and licensed practice come first."
)

_COLORS = {"error": "1;31", "warning": "1;33", "note": "1;36", "good": "1;32", "strong": "1"}
_RESET = "\x1b[0m"
FEW = 12
"""Up to so many connections are listed one by one in the verdict."""


def clean(text: str) -> str:
    r"""Return ``text`` with everything unprintable escaped, for instance ESC as ``\x1b``.

    Covers control characters, terminal escapes, line ends, bidirectional and invisible marks:
    whatever a file holds, a terminal or a log shows it as it is and obeys none of it.
    """
    if text.isprintable():
        return text
    return "".join(
        c if c.isprintable() else c.encode("unicode_escape", "surrogatepass").decode() for c in text
    )


def columns(text: str) -> int:
    """Return how many terminal columns a clean text takes."""
    if text.isascii():
        return len(text)
    import unicodedata  # deferred: most maps are ASCII.

    return sum(
        0 if unicodedata.combining(c) else 2 if unicodedata.east_asian_width(c) in "WF" else 1
        for c in text
    )


def wants_color(choice: str, *, terminal: bool, environ: Mapping[str, str]) -> bool:
    """Return whether to colour: ``choice`` first, then NO_COLOR, FORCE_COLOR, then the terminal.

    Both variables count when they are set and not empty, as their conventions ask.
    """
    if choice != "auto":
        return choice == "always"
    if environ.get("NO_COLOR"):
        return False
    return bool(environ.get("FORCE_COLOR")) or terminal


class Look(NamedTuple):
    """How the output may look: ``width`` in terminal columns, ``color`` on or off."""

    color: bool = False
    width: int = 100

    def paint(self, kind: str, text: str) -> str:
        """Return ``text`` in the colour of a severity, of ``good`` or ``strong``."""
        return f"\x1b[{_COLORS[kind]}m{text}{_RESET}" if self.color else text

    def wrap(self, text: str, *, first: str = "", rest: str = "") -> list[str]:
        """Return clean ``text`` broken into lines behind an indent."""
        import textwrap  # deferred: a clean run wraps nothing.

        return textwrap.wrap(
            clean(text),
            width=max(self.width, 40),
            initial_indent=first,
            subsequent_indent=rest,
            break_long_words=False,
            break_on_hyphens=False,
        ) or [first.rstrip()]


PLAIN = Look()
"""No colour, 100 columns: what a pipe or a file gets, the same everywhere."""


def table(rows: Iterable[Sequence[str]], *, indent: str = "", gap: str = "  ") -> list[str]:
    """Return rows of equal length as aligned lines; cells are cleaned, trailing blanks dropped."""
    cells = [[clean(cell) for cell in row] for row in rows]
    if not cells:
        return []
    widths = [max(map(columns, column)) for column in zip(*cells, strict=True)]
    return [
        indent
        + gap.join(
            cell + " " * (width - columns(cell)) for cell, width in zip(row, widths, strict=True)
        ).rstrip()
        for row in cells
    ]


def report(given: Report, *, look: Look = PLAIN, details: bool = False) -> str:
    """Return the whole report: findings worst first, what was allowed, the verdict, a caution.

    ``details`` adds the symptoms that each cause explains.
    """
    lines = findings(given, look=look, details=details)
    for waived in given.waived:
        lines += [*_waived(waived, look), ""]
    lines += _verdict(given, look, details)
    lines += [line for text in not_judged(given) for line in look.wrap(text, rest="  ")]
    if given.known:
        lines.append(f"not counted, known from the baseline: {len(given.known)}")
    lines.append(CAUTION)
    return "\n".join(lines) + "\n"


def findings(given: Report, *, look: Look = PLAIN, details: bool = False) -> list[str]:
    """Return the lines of all findings, worst first, an empty line after each."""
    return [
        line
        for severity in SEVERITIES
        for finding in given.findings
        if finding.severity == severity
        for line in (*_finding(finding, look, details), "")
    ]


def not_judged(given: Report) -> list[str]:
    """Return what the verdict does not speak for, one line for connections that lack the same."""
    open_at: dict[str, list[str]] = {}
    for entry in given.not_judged:
        if entry.subject:
            open_at.setdefault(entry.connection, []).append(f"{entry.subject} ({entry.reason})")
    alike: dict[str, list[str]] = {}
    for name, subjects in open_at.items():
        alike.setdefault(", ".join(subjects), []).append(name)
    lines = []
    for text, names in alike.items():
        of = ", ".join(names) if len(names) <= FEW else f"{len(names)} connections"
        lines.append(f"not judged{f' of {of}' if len(given.connections) > 1 else ''}: {text}")
    return lines


def _finding(finding: Finding, look: Look, details: bool) -> list[str]:
    scope = finding.direction or finding.connection
    head = f"{look.paint(finding.severity, finding.severity)}: {look.paint('strong', finding.rule)}"
    lines = [f"{head}  [{clean(scope)}]" if scope else head]
    lines += look.wrap(finding.message, first="  ", rest="  ")
    lines += table(map(_spot, finding.spots), indent="    ")
    if finding.counterexample is not None:
        lines += _witness(finding.counterexample, finding)
    if details:
        for detail in finding.details:
            lines += look.wrap(detail, first="  - ", rest="    ")
    elif finding.details:
        count = len(finding.details)
        lines.append(f"  explains {count} symptom{'s'[: count > 1]} (shown with --details)")
    return lines + look.wrap(finding.remedy, first="  remedy: ", rest="          ")


def _spot(spot: Spot) -> tuple[str, str, str, str]:
    place = "" if spot.place is None else str(spot.place)
    return str(spot.where), spot.end, place, spot.signal


def _witness(counterexample: Counterexample, finding: Finding) -> list[str]:
    sent = counterexample.octets.hex(" ").upper()
    if counterexample.before is not None:
        sent = f"{counterexample.before.hex(' ').upper()}, then {sent}"
    rows = [
        ("signal", f"{finding.producer} sends", f"{finding.consumer} reads"),
        *counterexample.rows,
    ]
    return [f"  for instance the safety data {sent}:", *table(rows, indent="    ")]


def _waived(waived: Waived, look: Look) -> list[str]:
    finding = waived.finding
    return [
        f"{look.paint('strong', 'allowed')}: {finding.rule}  [{clean(str(waived.where))}]",
        *look.wrap(finding.message, first="  ", rest="  "),
        *look.wrap(waived.reason, first="  reason: ", rest="          "),
    ]


def _verdict(given: Report, look: Look, details: bool) -> list[str]:
    number = len(given.connections)
    few = number <= FEW
    names = ", ".join(map(clean, given.connections)) if few else f"{number} connections"
    if given.findings:
        counts = [
            f"{count} {severity}{'s'[: count != 1]}"
            for severity in SEVERITIES
            if (count := sum(finding.severity == severity for finding in given.findings))
        ]
        return [look.paint(given.worst(), f"{names}: {', '.join(counts)}")]
    agree = "both ends agree bit for bit"
    if given.known:
        agree = "no new finding"
    elif given.waived:
        agree = f"no open finding, {len(given.waived)} allowed"
    facts = given.facts if few or details else ()
    return [look.paint("good", f"{names}: {agree}"), *table(facts, indent="  ")]
