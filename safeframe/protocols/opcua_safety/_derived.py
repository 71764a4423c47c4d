"""Numbers of OPC UA Safety that both ends must hold: structure signature and SPDU_ID words."""

from __future__ import annotations

from typing import Any

from ..aspects import Derivation, DerivedInput
from . import _ids as ids


def _structure_signature(given: dict[str, Any]) -> dict[str, str]:
    members = ids.member_types(given["members"])
    type_ids = [member.type_id for member in members]
    signature = ids.structure_signature(given["identifier"], type_ids)
    octet_count = sum(member.octets for member in members)
    return {"structure_signature": f"0x{signature:08X}", "data_octets": str(octet_count)}


def _spdu_ids(given: dict[str, Any]) -> dict[str, str]:
    words = ids.spdu_ids(**given)
    return {f"spdu_id_{place}": f"0x{word:08X}" for place, word in enumerate(words, 1)}


DERIVATIONS = (
    Derivation(
        name="structure-signature",
        title="OPC UA Safety: the signature of a structure",
        inputs=(DerivedInput("identifier", str), DerivedInput("members", str)),
        make=_structure_signature,
    ),
    Derivation(
        name="spdu-ids",
        title="OPC UA Safety: the three SPDU_ID words of a provider",
        inputs=(
            DerivedInput("base_id", str),
            DerivedInput("level", int),
            DerivedInput("signature", int),
            DerivedInput("provider_id", int),
        ),
        make=_spdu_ids,
    ),
)
