"""Published numbers of FSCP 13/1 that are no frames: the check value of a parameter set."""

from __future__ import annotations

from types import MappingProxyType
from typing import Any

from ._access import parameter_check


def _parameter_check(octets: bytes, inputs: dict[str, Any]) -> int:
    """Return the check value of values that stand in ``octets`` in the order of ``objects``.

    ``objects`` are index.sub-index:size, in hexadecimal but for the size, separated by blanks.
    """
    values, at = [], 0
    for word in str(inputs["objects"]).split():
        named, _, size = word.partition(":")
        index, _, sub_index = named.partition(".")
        values.append((int(index, 16), int(sub_index, 16), octets[at : at + int(size)]))
        at += int(size)
    return parameter_check(values)


RECOMPUTED = MappingProxyType({"parameter check": _parameter_check})
