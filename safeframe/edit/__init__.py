"""One edit of both ends: the same bits, out of the same gap, every other byte as it was.

``edit`` is pure: it works on texts and writes nothing. The result shows the patch of both
files, the class of the change, what mixed versions read, and the findings that it causes.
``save`` writes both files, or none.
"""

from .._mapfile.patch import Patch
from .._mapfile.sheetpatch import SheetPatch
from .._source import TextEdit, apply_edits
from ._apply import Edit, MapText, edit, save
from ._operations import Bind, Declare, Insert, Move, Operation, Remove, Rename, Resize
from ._propose import Proposal, propose

__all__ = [
    "Bind",
    "Patch",
    "SheetPatch",
    "TextEdit",
    "apply_edits",
    "Declare",
    "Edit",
    "Insert",
    "Move",
    "Operation",
    "Proposal",
    "Remove",
    "Rename",
    "Resize",
    "MapText",
    "edit",
    "propose",
    "save",
]
