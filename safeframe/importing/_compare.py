"""A map that somebody wrote, held against a device file, by the rules of ``check``."""

from __future__ import annotations

from dataclasses import dataclass

from .. import _checks as checks
from .._checks import told
from .._findings import Finding, Report
from .._model import DeviceMap, End
from ._imported import Imported

_OF_ONE_END = ("mirrors", "bind", "note")
"""A program variable and a mirror belong to one end; the other has its own."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """The findings between a map and a device file; ``not_compared`` is what neither can say."""

    report: Report
    not_compared: tuple[str, ...]

    @property
    def findings(self) -> tuple[Finding, ...]:
        """The differences; none where the map agrees."""
        return self.report.findings

    @property
    def agrees(self) -> bool:
        """Whether there is no difference."""
        return not self.report.findings


def device_map(found: Imported) -> DeviceMap:
    """Return what a device file says of an end, as ``check`` holds a map against it."""
    assert found.end.imported is not None
    return DeviceMap(
        end=found.end,
        file=found.end.imported.file,
        directions=found.directions,
        held=tuple(key for key in found.held if key not in _OF_ONE_END),
        notes=found.notes,
    )


def compare(map_: End, found: Imported) -> Comparison:
    """Hold a map against what a device file says of the same end.

    The findings are those of ``check`` between the map and the other end as the file describes
    it; keys that no device file holds are not compared. Allowances of the map do not count.
    """
    device = device_map(found)
    return Comparison(
        report=told.against(map_, device, checks.check),
        not_compared=told.not_compared(map_, device),
    )
