"""Recordings of safety frames, judged and read with the eyes of both ends."""

from .._link import Link, link_of
from ._decode import Both, Decoder, Disagreement
from ._examine import examine
from ._judge import Judge, Opinion
from ._locate import LocatedFrame, Locator, Miss
from ._packets import Packet, Trouble
from ._pcap import Wanted
from ._reading import read_recording
from ._report import Difference, Examination, Interval, Note, Notes, SideReport, Timeline, Undriven
from ._strips import Bin

__all__ = [
    "Bin",
    "Both",
    "Link",
    "LocatedFrame",
    "Miss",
    "Notes",
    "link_of",
    "Decoder",
    "Difference",
    "Examination",
    "Interval",
    "Judge",
    "Locator",
    "Note",
    "Opinion",
    "Packet",
    "Disagreement",
    "SideReport",
    "Timeline",
    "Trouble",
    "Undriven",
    "Wanted",
    "examine",
    "read_recording",
]
