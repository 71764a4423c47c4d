"""A plugin that has every test traced, the long ones too that coverage leaves out."""

from __future__ import annotations

import pytest


def pytest_itemcollected(item: pytest.Item) -> None:
    """Take the marker off a test and all that it stands in."""
    for node in item.listchain():
        node.own_markers[:] = [mark for mark in node.own_markers if mark.name != "no_cover"]
