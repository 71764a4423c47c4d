"""Numbers of LIFT 6 that both ends must hold."""

from __future__ import annotations

from safeframe.protocols.aspects import Derivation, DerivedInput

__all__ = ["DERIVATIONS"]

DERIVATIONS = (
    Derivation(
        name="station-of-floor",
        title="LIFT 6: the station of a floor",
        inputs=(DerivedInput("floor", int),),
        make=lambda given: {"station": str(given["floor"] + 1)},
    ),
)
