"""Who is who in the maps of the two ends of one direction, and which mistake displaced what.

``match`` pairs the signals of the producer (left) with those of the consumer (right);
``explain`` reduces all displacements to as few causes as it can, and gives each a known name.
"""

from .cause import Cause
from .explaining import explain
from .match import Matching, Pair, match
from .names import alike, near_names, skeleton

__all__ = ["Cause", "Matching", "Pair", "alike", "explain", "match", "near_names", "skeleton"]
