"""What changed between map files, whether both ends were edited alike, and what mixes do.

``compare_versions`` compares one end before and after, ``compare_ends`` end against end,
``compare_edits`` what was done at both ends; ``classify`` names the kind of an edit and
``mixed_versions`` tells what is read while only one end is updated.
"""

from .arrival import ArrivingBits
from .changes import Change, Ground, fails
from .classes import CLASSES, ChangeClass, ClassReason, classify, classify_changes
from .edits import EditComparison, EditDifference, EditStep, compare_edits
from .ends import compare_ends, compare_versions
from .levels import FIELDS, LEVELS, FieldRule, any_at_or_above
from .mixed import VERDICTS, MixedRow, MixedState, MixedTable, mixed_versions

__all__ = [
    "CLASSES",
    "FIELDS",
    "LEVELS",
    "VERDICTS",
    "Change",
    "ChangeClass",
    "ClassReason",
    "EditComparison",
    "EditDifference",
    "EditStep",
    "FieldRule",
    "Ground",
    "MixedState",
    "MixedRow",
    "MixedTable",
    "ArrivingBits",
    "any_at_or_above",
    "classify",
    "classify_changes",
    "compare_ends",
    "compare_edits",
    "compare_versions",
    "fails",
    "mixed_versions",
]
