"""One edit of both ends: the same bits, out of the same gap, every other byte as it was.

``edit`` is pure: it works on texts and writes nothing. The result shows the patch of both
files, the class of the change, what mixed versions read, and the findings that it causes.
"""

from .apply import Edit, Source, edit
from .operations import Bind, Declare, Insert, Move, Operation, Remove, Rename, Resize
from .propose import Proposal, propose

__all__ = [
    "Bind",
    "Declare",
    "Edit",
    "Insert",
    "Move",
    "Operation",
    "Proposal",
    "Remove",
    "Rename",
    "Resize",
    "Source",
    "edit",
    "propose",
]
