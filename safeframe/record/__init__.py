"""The sign-off record of one change: computed from the maps, completed and signed by people.

``new`` makes a record, ``create`` writes it as a new file, ``update`` changes one, two writers at
once included, ``loads`` and ``dumps`` work on texts, ``verify`` computes everything
anew and says what is wrong or still open. After any later edit of a map it says so.
"""

from .._checklist import ChecklistStep
from ._acts import done, fill, new, request, sign, withdraw
from ._assess import (
    APPROVALS,
    LIMITS,
    VOID,
    Assessment,
    RecordPoint,
    Signature,
    assess,
    baseline,
    points,
    verify,
)
from ._compute import compute
from ._editions import FORMAT, fingerprints
from ._entries import (
    KINDS,
    RESULTS,
    ApprovalAct,
    CarriedOver,
    HistoryEntry,
    ReadBackAct,
    RequestAct,
    TrialAct,
    WithdrawalAct,
    title,
)
from ._files import create, dumps, load, loads, schema_text, update
from ._parts import (
    BitOwner,
    BitRow,
    Computed,
    EditLine,
    Mixed,
    MixLine,
    MixTable,
    Record,
    RecordedFinding,
    State,
    Times,
)
from ._people import Approval, People, ReadBack, Request, Trial, person
from ._signature import (
    NAMESPACE,
    covered,
    seal,
    seal_text,
    signatures,
    with_signatures,
)

__all__ = [
    "ChecklistStep",
    "APPROVALS",
    "FORMAT",
    "KINDS",
    "LIMITS",
    "NAMESPACE",
    "RESULTS",
    "VOID",
    "Approval",
    "ApprovalAct",
    "BitRow",
    "BitOwner",
    "CarriedOver",
    "Computed",
    "HistoryEntry",
    "EditLine",
    "RecordedFinding",
    "MixLine",
    "MixTable",
    "Mixed",
    "People",
    "ReadBack",
    "ReadBackAct",
    "Record",
    "RecordPoint",
    "Request",
    "RequestAct",
    "Signature",
    "Assessment",
    "State",
    "Times",
    "Trial",
    "TrialAct",
    "WithdrawalAct",
    "baseline",
    "compute",
    "covered",
    "create",
    "done",
    "dumps",
    "fill",
    "fingerprints",
    "load",
    "loads",
    "new",
    "person",
    "points",
    "request",
    "schema_text",
    "seal",
    "seal_text",
    "sign",
    "signatures",
    "title",
    "assess",
    "update",
    "verify",
    "with_signatures",
    "withdraw",
]
