"""The sign-off record of one change: computed from the maps, completed and signed by people.

``new`` makes a record, ``create`` writes it as a new file, ``update`` changes one, two writers at
once included, ``loads`` and ``dumps`` work on texts, ``verify`` computes everything
anew and says what is wrong or still open. After any later edit of a map it says so.
"""

from .._checklist import ChecklistStep
from ._acts import done, fill, new, sign
from ._assess import APPROVALS, Assessment, assess, baseline, seal, verify
from ._compute import compute
from ._editions import FORMAT, fingerprints
from ._files import create, dumps, load, loads, schema_text, update
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
    "create",
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
    "update",
    "verify",
]
