"""Exact residual error figures of checksums: weights, Hamming distance, probabilities."""

from ._cache import default_directory, recall
from ._code import CheckPart, Code, contiguous, powers, stacked
from ._distance import Band, bands
from ._probability import Peak, approximation, conditional, curve, peak, undetected
from ._spectrum import Effort, Weights, weights
from ._summary import Figures, ProbabilityRow, Subject, figures, rate_per_hour

__all__ = [
    "Band",
    "Code",
    "Effort",
    "Figures",
    "CheckPart",
    "Peak",
    "ProbabilityRow",
    "Subject",
    "Weights",
    "approximation",
    "bands",
    "conditional",
    "contiguous",
    "curve",
    "default_directory",
    "figures",
    "peak",
    "powers",
    "rate_per_hour",
    "recall",
    "stacked",
    "undetected",
    "weights",
]
