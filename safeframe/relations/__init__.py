"""Rules between the signals of one end: what breaks them, and whether they can all hold.

Numbers are those before scaling. A state gives each signal one number; requires and excludes
say which states are legal, follows in which order they may come. Nothing is assumed about a signal
that no relation names.
"""

from ._rules import Fault, Values, Violation, faults, find_signals, violations
from ._states import MAX_ROWS, Contradiction, StateRow, TruthTable, contradictions, truth_tables
from ._watch import Watch

__all__ = [
    "MAX_ROWS",
    "Contradiction",
    "Fault",
    "StateRow",
    "TruthTable",
    "Values",
    "Violation",
    "Watch",
    "contradictions",
    "faults",
    "find_signals",
    "truth_tables",
    "violations",
]
