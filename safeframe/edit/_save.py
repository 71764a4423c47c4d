"""Write an edit: both files, or none."""

from __future__ import annotations

from .._document.replace import Replacement, replace_all
from ._apply import Edit


def save(done: Edit) -> None:
    """Write the files of an edit, both or none, if they still hold what the edit was made from.

    Raises UsageError with nothing changed, for instance where another program has changed a file;
    WriteError, which says in which state each file is, where the system failed.
    """
    replace_all(
        *(
            Replacement(path=old.path, old=old.text, new=new.text)
            for old, new in zip(done.old, done.new, strict=True)
        )
    )
