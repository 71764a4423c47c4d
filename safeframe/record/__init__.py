"""The sign-off record of one change: computed from the maps, completed and signed by people.

``new`` makes a record, ``loads`` and ``dumps`` read and write it, ``verify`` computes everything
anew and says what is wrong or still open. After any later edit of a map it says so.
"""

from .._checklist import ChecklistStep
from ._acts import done, fill, new, sign
from ._assess import APPROVALS, Assessment, assess, baseline, seal, verify
from ._compute import compute
from ._editions import FORMAT, fingerprints
from ._files import dumps, load, loads, schema_text
from ._parts import (
    RESULTS,
    Approval,
    BitOwner,
    BitRow,
    Computed,
    EditLine,
    Mixed,
    MixLine,
    MixTable,
    People,
    ReadBack,
    Record,
    RecordedFinding,
    Request,
    State,
    Times,
    Trial,
)

__all__ = [
    "ChecklistStep",
    "APPROVALS",
    "FORMAT",
    "RESULTS",
    "Approval",
    "BitRow",
    "BitOwner",
    "Computed",
    "EditLine",
    "RecordedFinding",
    "MixLine",
    "MixTable",
    "Mixed",
    "People",
    "ReadBack",
    "Record",
    "Request",
    "Assessment",
    "State",
    "Times",
    "Trial",
    "baseline",
    "compute",
    "done",
    "dumps",
    "fill",
    "fingerprints",
    "load",
    "loads",
    "new",
    "schema_text",
    "seal",
    "sign",
    "assess",
    "verify",
]
