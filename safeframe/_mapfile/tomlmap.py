"""Read a map from TOML text."""

from __future__ import annotations

from .._document.problems import Problems
from .._document.toml import located
from .._model import End
from .assemble import assemble


def read_toml(text: str, *, path: str) -> End:
    """Build the End that a TOML text describes; raises InputError with every problem in it."""
    data, line_of = located(text, path=path)
    return assemble(data, problems=Problems(path), line_of=line_of)
