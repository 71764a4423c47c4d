"""Recordings of safety frames, judged and read with the eyes of both ends."""

from .._link import Link, link_of
from ._decode import Both, Decoder, Disagreement
from ._examine import FrameVerdict, examine
from ._judge import Judge, Opinion
from ._layers import Wanted
from ._locate import LocatedFrame, Locator, Miss
from ._observe import Observer
from ._packets import Packet, Passed, Skipped, Trouble
from ._reading import read_recording
from ._report import (
    Difference,
    Event,
    Examination,
    Interval,
    Note,
    Notes,
    Oddity,
    OtherReading,
    SideMarks,
    SideReport,
    Timeline,
    Undriven,
)
from ._strips import Bin

__all__ = [
    "Bin",
    "Both",
    "Decoder",
    "Difference",
    "Disagreement",
    "Event",
    "Examination",
    "Interval",
    "Judge",
    "Link",
    "LocatedFrame",
    "Locator",
    "Miss",
    "Note",
    "Notes",
    "Observer",
    "Oddity",
    "Opinion",
    "OtherReading",
    "Packet",
    "Passed",
    "SideMarks",
    "SideReport",
    "Skipped",
    "Timeline",
    "Trouble",
    "Undriven",
    "FrameVerdict",
    "Wanted",
    "examine",
    "link_of",
    "read_recording",
]
