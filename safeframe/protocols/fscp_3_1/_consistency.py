"""What an end of FSCP 3/1 states in two places: addresses and the parameter CRC.

The source address is that of the host, the destination address that of the device, and the
parameter CRC is computed over both, the watchdog and the SIL: sources W L M of the facts.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product

from ..._errors import UsageError
from ..._model import End

_OWN_ADDRESS = {"host": "source_address", "device": "destination_address"}


def _consistency(end: End) -> Iterator[tuple[str, str, str]]:
    """Yield key, sentence and remedy of each value that contradicts another one of an end."""
    stated = dict(end.parameters)
    name = _OWN_ADDRESS.get(end.role, "")
    if end.address is not None and name in stated and stated[name] != end.address:
        yield (
            f"parameters.{name}",
            f"the address of {end.name} is {end.address}, but as {end.role} it has the {name} "
            f"{stated[name]}",
            f"state one number as address and {name} of {end.name}",
        )
    crc = stated.get("parameter_crc")
    given: dict[str, object] = {}
    given |= {key: stated.get(key) for key in ("sil", "source_address", "destination_address")}
    given["watchdog_ms"] = end.connection_table.watchdog_ms
    if type(crc) is int and all(type(value) is int for value in given.values()):
        if "device_parameter_crc" in stated:
            given["device_parameter_crc"] = stated["device_parameter_crc"]
        computed = _computed(given)
        if computed and crc not in computed:
            first, *others = [f"0x{number:04X}" for number in computed]
            yield (
                "parameters.parameter_crc",
                f"the parameter_crc of {end.name} is 0x{crc:04X}, but from its sil, addresses and "
                f"watchdog follows {first} (or {', '.join(others)} with one or both check flags)",
                f"state the parameter_crc that the tools of {end.name} show, and the values it is "
                "computed from",
            )


def _computed(given: dict[str, object]) -> list[int]:
    """Return the parameter CRCs that some values give, by the flags that no map states."""
    from ._frame import parameter_record  # deferred: few maps state all of it.

    found = []
    for number, device in product((False, True), repeat=2):
        try:
            record = parameter_record(
                **given,  # type: ignore[arg-type]
                check_number=number,
                check_device_parameters=device,
            )
        except (UsageError, OverflowError, TypeError):
            return []  # A value out of range is another finding.
        found.append(int.from_bytes(record[-2:], "big"))
    return found


CONSISTENCY = _consistency
