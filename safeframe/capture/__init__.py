"""Recordings of safety frames, judged and read with the eyes of both ends."""

from ._decode import Decoder, Disagreement
from ._examine import examine
from ._judge import Judge, Opinion
from ._locate import Locator
from ._packets import Packet, Trouble
from ._pcap import Wanted
from ._reading import read_recording
from ._report import Difference, Examination, Interval, Note, SideReport, Timeline, Undriven

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
    "Disagreement",
    "SideReport",
    "Timeline",
    "Trouble",
    "Undriven",
    "Wanted",
    "examine",
    "read_recording",
]
