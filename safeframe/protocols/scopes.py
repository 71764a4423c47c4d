"""Which bits of a protocol's frame an error can be missed in, as codes for ``residual``.

A scope says which errors are looked at. Bits that the receiver compares with a known value, and
octets that are never sent, are left out: an error there is detected by other means or impossible.
Each protocol's room offers its own.
"""

from __future__ import annotations

from .._errors import UsageError
from ..residual import Code
from . import Profile, names, room
from .aspects import FrameScope, Generators

__all__ = ["code", "generators", "offered_scopes", "scope", "sizes"]

_UNBOUNDED_OCTETS = 32
"""Largest size of a list where a profile states none; larger ones can be asked for."""


def offered_scopes() -> dict[str, tuple[FrameScope, ...]]:
    """Return the scopes of each protocol that has any; the first is asked for by default."""
    return {name: scopes for name in names() if (scopes := room(name).scopes)}


def scope(profile: Profile, name: str | None = None) -> FrameScope:
    """Return a scope of the profile by name, or its first one."""
    every = offered_scopes()
    offered = every.get(profile.name, ())
    if not offered:
        raise UsageError(
            f"the profile must be one of {', '.join(every)} for residual figures, "
            f"not {profile.name}: it has no frame whose checksum is known"
        )
    if name is None:
        return offered[0]
    for candidate in offered:
        if candidate.name == name:
            return candidate
    names = ", ".join(candidate.name for candidate in offered)
    raise UsageError(f"the scope must be one of {names} for {profile.name}, not {name!r}")


def code(profile: Profile, octets: int, chosen: FrameScope) -> Code:
    """Return the code of a frame of the profile that carries ``octets`` octets of safety data."""
    if not profile.sizes.is_legal(octets):
        near = ", ".join(map(str, profile.sizes.next_legal(octets)))
        raise UsageError(
            f"safety data of {profile.name} must have {profile.sizes.describe()}, "
            f"not {octets}" + (f" (next legal: {near})" if near else "")
        )
    if chosen.largest is not None and octets > chosen.largest:
        raise UsageError(
            f"the scope {chosen.name} must be asked for up to {chosen.largest} octets, "
            f"not {octets}: {chosen.left_out}"
        )
    return chosen.build(generators(profile), octets)


def generators(profile: Profile) -> Generators:
    """Return the generator polynomials of a profile, with their top bits, by short name."""
    return {
        use.algorithm.name.partition("/")[2]: 1 << use.algorithm.width | use.algorithm.poly
        for use in profile.crcs
    }


def sizes(profile: Profile, chosen: FrameScope, most: int | None = None) -> tuple[int, ...]:
    """Return the legal sizes of safety data in octets, at most ``most`` spread from end to end."""
    found: list[int] = []
    for run in profile.sizes.ranges:
        last = _UNBOUNDED_OCTETS if run.last is None else run.last
        found += range(run.first, last + 1, run.step)
    legal = [octets for octets in found if chosen.largest is None or octets <= chosen.largest]
    if most is None or len(legal) <= most:
        return tuple(legal)
    # Equal ratios: short frames differ more from each other than long ones.
    ratio = len(legal) ** (1 / (most - 1))
    picked = {min(len(legal), max(1, round(ratio**step))) for step in range(most)}
    return tuple(legal[position - 1] for position in sorted(picked))
