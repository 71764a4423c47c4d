"""Why a device file was refused: one problem per cause, by rule, up to a hundred in one run."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NoReturn

from .._errors import InputError, Problem

OPEN_RULES = frozenset(
    (
        *("ambiguous-bits", "ambiguous-continuation", "ambiguous-language", "ambiguous-order"),
        *("ambiguous-padding", "ambiguous-selection", "bad-encoding", "columns-not-stated"),
        *("dangling-reference", "duplicate-name", "hole", "layout-not-stated", "no-container"),
        *("not-expressible", "profile-not-stated", "safe-not-stated", "unnamed"),
        *("viewpoint-not-stated",),
    )
)
"""Rules that a decision of the user can settle: the file was understood, exit code 1.

Every other rule is about a file that is hostile, broken, contradictory or not offered.
"""

_MOST_PROBLEMS = 100
_SHOWN = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class ImportProblem(Problem):
    """A problem with the name of the rule that it breaks; ``key`` is the element's path."""

    rule: str

    def __str__(self) -> str:
        return f"{Problem.__str__(self)} [{self.rule}]"


class OpenDecisionError(InputError):
    """The file was understood, but something in it is for the user to decide; nothing was written.

    >>> from safeframe import importing
    >>> issubclass(importing.OpenDecisionError, safeframe.InputError)
    True
    """


class Refusals:
    """Collects the problems of one file in any order; raises them in line order."""

    def __init__(self, path: str) -> None:
        self.path = path
        self.problems: list[ImportProblem] = []

    def __len__(self) -> int:
        return len(self.problems)

    def add(self, rule: str, line: int, message: str, remedy: str = "", element: str = "") -> None:
        """Keep one problem; gives up where nobody would read more of them."""
        problem = ImportProblem(
            path=self.path,
            line=line,
            key=shown(element),
            message=message,
            remedy=remedy,
            rule=rule,
        )
        if problem not in self.problems[-_MOST_PROBLEMS:]:
            self.problems.append(problem)
        if len(self.problems) >= _MOST_PROBLEMS:
            self.refuse()

    def stop(
        self, rule: str, line: int, message: str, remedy: str = "", element: str = ""
    ) -> NoReturn:
        """Keep one problem after which nothing else can be judged, and raise."""
        self.add(rule, line, message, remedy, element)
        raise self._error()

    def refuse(self) -> None:
        """Raise OpenDecisionError or InputError where there is any problem."""
        if self.problems:
            raise self._error()

    def _error(self) -> InputError:
        ordered = sorted(self.problems, key=lambda problem: problem.line)
        decidable = all(problem.rule in OPEN_RULES for problem in ordered)
        return (OpenDecisionError if decidable else InputError)(*ordered)


def shown(value: object) -> str:
    """Return a text of the file as one short printable line."""
    text = str(value)
    if len(text) > _SHOWN:
        text = f"{text[:_SHOWN]}... ({len(text)} characters)"
    return "".join(c if c.isprintable() else ascii(c)[1:-1] for c in text)


def twice(
    refusals: Refusals, what: str, name: object, lines: tuple[int, int], element: str = ""
) -> None:
    """Keep the problem of what stands in two lines under one name: neither of the two is taken."""
    refusals.add(
        "duplicate-name",
        lines[1],
        f"{what} must stand once, not again after line {lines[0]}: {shown(name)}",
        "remove one of them from the file",
        element,
    )
