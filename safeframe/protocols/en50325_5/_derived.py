"""Numbers of EN 50325-5: the configuration checksum step by step, identifiers of a node."""

from __future__ import annotations

from typing import Any

from ..aspects import Derivation, DerivedInput
from . import _checksum as config


def _configuration(given: dict[str, Any]) -> dict[str, str]:
    entries = config.entries_of(given["entries"])
    covered = config.steps(**{**given, "entries": entries})
    shown = {what: part.hex(" ") for what, part in covered}
    found = {"checksum": f"0x{config.checksum(covered):04X}", **shown}
    if problem := config.mapping_problem(entries):
        found["note"] = problem
    return found


def _identifiers(given: dict[str, Any]) -> dict[str, str]:
    first, second = config.default_identifiers(given["node"])
    return {"identifier_1": f"0x{first:X}", "identifier_2": f"0x{second:X}"}


DERIVATIONS = (
    Derivation(
        name="configuration-checksum",
        title="EN 50325-5: the configuration checksum of one end, with what it covers",
        inputs=(
            DerivedInput("direction", str),
            DerivedInput("sct_ms", int),
            DerivedInput("srvt_ms", int),
            DerivedInput("identifier_1", int),
            DerivedInput("identifier_2", int),
            DerivedInput("entries", str),
        ),
        make=_configuration,
    ),
    Derivation(
        name="default-identifiers",
        title="EN 50325-5: the default identifiers of a node",
        inputs=(DerivedInput("node", int),),
        make=_identifiers,
    ),
)
