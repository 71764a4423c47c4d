"""The sign-off record of one change: computed from the maps, completed and signed by people.

``new`` makes a record, ``loads`` and ``dumps`` read and write it, ``verify`` computes everything
anew and says what is wrong or still open. After any later edit of a map it says so.
"""

from .acts import done, fill, new, sign
from .compute import compute
from .files import FORMAT, dumps, load, loads, schema_text
from .parts import (
    RESULTS,
    Approval,
    BitRow,
    Cell,
    Computed,
    EditLine,
    Found,
    Mixed,
    MixLine,
    MixTable,
    People,
    ReadBack,
    Record,
    Request,
    State,
    Times,
    Trial,
)
from .standing import APPROVALS, Standing, baseline, seal, standing, verify

__all__ = [
    "APPROVALS",
    "FORMAT",
    "RESULTS",
    "Approval",
    "BitRow",
    "Cell",
    "Computed",
    "EditLine",
    "Found",
    "MixLine",
    "MixTable",
    "Mixed",
    "People",
    "ReadBack",
    "Record",
    "Request",
    "Standing",
    "State",
    "Times",
    "Trial",
    "baseline",
    "compute",
    "done",
    "dumps",
    "fill",
    "load",
    "loads",
    "new",
    "schema_text",
    "seal",
    "sign",
    "standing",
    "verify",
]
