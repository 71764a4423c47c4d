"""Exact residual error figures of checksums: weights, Hamming distance, probabilities."""

from .cache import default_directory, recall
from .code import Code, Part, contiguous, powers, stacked
from .distance import Band, bands
from .probability import Peak, approximation, conditional, curve, peak, undetected
from .spectrum import Effort, Weights, weights
from .summary import Figures, Row, Subject, figures, rate_per_hour

__all__ = [
    "Band",
    "Code",
    "Effort",
    "Figures",
    "Part",
    "Peak",
    "Row",
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
