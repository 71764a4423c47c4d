"""The states of a site, as folders or revisions, and what became of each connection between two."""

from .changes import CHANGES, ConnectionChange, EndState, SiteComparison
from .compare import compare_sites
from .state import MapFile, SiteState, read_site

__all__ = [
    "CHANGES",
    "ConnectionChange",
    "EndState",
    "MapFile",
    "SiteComparison",
    "SiteState",
    "compare_sites",
    "read_site",
]
