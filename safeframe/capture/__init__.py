"""Recordings of safety frames, judged and read with the eyes of both ends."""

from .decode import Decoder, Row
from .examine import examine
from .judge import Judge, Opinion
from .locate import Locator
from .packets import Packet, Trouble
from .pcap import Wanted
from .reading import read_recording
from .report import Difference, Examination, Interval, Note, SideReport, Timeline, Undriven

__all__ = [
    "Decoder",
    "Difference",
    "Examination",
    "Interval",
    "Judge",
    "Locator",
    "Note",
    "Opinion",
    "Packet",
    "Row",
    "SideReport",
    "Timeline",
    "Trouble",
    "Undriven",
    "Wanted",
    "examine",
    "read_recording",
]
