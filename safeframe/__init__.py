"""Off-line checks of matched bit maps and frames of functional-safety connections."""

__version__ = "0.1.0"
