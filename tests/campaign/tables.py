"""Mistakes in the tables of an end: profile, edition, names, roles, ids, times, parameters."""

from __future__ import annotations

from collections.abc import Callable
from random import Random

from .mutate import Mistake, _mistake, mutator
from .tiny import Pair, Side, signals


def _at_one(
    kind: str, rules: set[str], change: Callable[[Random, Side], bool]
) -> Callable[[Random, Pair], Mistake | None]:
    def run(random: Random, pair: Pair) -> Mistake | None:
        if not change(random, random.choice(pair.ends)):
            return None
        mistake = _mistake(kind, rules, set())
        mistake.inner = kind in ("role_unknown", "address_far")  # Of no concern to the other end.
        return mistake

    run.__name__ = kind
    return mutator(run)


def _at_both(
    kind: str, rules: set[str], change: Callable[[Random, Side], bool]
) -> Callable[[Random, Pair], Mistake | None]:
    def run(random: Random, pair: Pair) -> Mistake | None:
        # One stream for both ends, so that they say the same.
        seed = random.random()
        if not all(change(Random(seed), end) for end in pair.ends):
            return None
        mistake = _mistake(kind, rules, set())
        mistake.inner = True
        return mistake

    run.__name__ = kind
    return mutator(run)


def _set(key: str, value: object) -> Callable[[Random, Side], bool]:
    def change(random: Random, end: Side) -> bool:
        same = end.table.get(key) == value
        end.table[key] = value
        return not same

    return change


def _gone(key: str) -> Callable[[Random, Side], bool]:
    return lambda random, end: end.table.pop(key, None) is not None


def _profile(random: Random, end: Side) -> bool:
    end.table["profile"] = "plain" if end.table["profile"] != "plain" else "fscp-3-1"
    return True


def _edition(random: Random, end: Side) -> bool:
    if "edition" not in end.table:
        return False
    end.table["edition"] = "1999"
    return True


def _sizes(random: Random, end: Side) -> bool:
    if "legal_octets" not in end.table:
        return False
    end.table["legal_octets"] = [*end.table["legal_octets"], 99]
    return True


def _watchdog_short(random: Random, end: Side) -> bool:
    if not {"watchdog_ms", "exchange_ms"} <= end.table.keys():
        return False
    end.table["watchdog_ms"] = end.table["exchange_ms"]
    return True


def _watchdog_zero(random: Random, end: Side) -> bool:
    if "watchdog_ms" not in end.table:
        return False
    end.table["watchdog_ms"] = 0
    return True


def _role_unknown(random: Random, end: Side) -> bool:
    if "role" not in end.end:
        return False
    end.end["role"] = "boss"
    return True


def _address(random: Random, end: Side) -> bool:
    if "address" not in end.end:
        return False
    end.end["address"] = 1 << 20
    return True


def _id_gone(random: Random, end: Side) -> bool:
    # A plain connection needs no id.
    return end.table["profile"] != "plain" and end.table.pop("id", None) is not None


def _parameter_unknown(random: Random, end: Side) -> bool:
    if end.table["profile"] == "plain":
        return False
    end.parameters["retry_count"] = 3
    return True


def _parameter_free(random: Random, end: Side) -> bool:
    if end.table["profile"] != "plain":
        return False
    end.parameters["seed_crc"] = random.randint(1, 99)
    return True


_at_one("profile_differs", {"profile-differs"}, _profile)
_at_one("edition_differs", {"edition-differs"}, _edition)
_at_one("edition_gone", {"edition-differs"}, _gone("edition"))
_at_one("connection_renamed", {"connection-name-differs"}, _set("name", "SC1-LX-old"))
_at_one("id_gone", {"connection-id-differs", "connection-id-missing"}, _gone("id"))
_at_one("network_differs", {"parameter-differs"}, _set("network", "hall2"))
_at_one("sizes_differ", {"parameter-differs"}, _sizes)
_at_one("permitted_differs", {"parameter-differs"}, _set("permitted_reaction_ms", 60_000))
_at_one("watchdog_short", {"watchdog-differs", "watchdog-too-short"}, _watchdog_short)
_at_one("watchdog_zero", {"watchdog-differs", "watchdog-too-short"}, _watchdog_zero)
_at_one("role_unknown", {"role-conflict"}, _role_unknown)
_at_one("address_far", {"address-range"}, _address)
_at_one("parameter_unknown", {"parameter-invalid", "parameter-differs"}, _parameter_unknown)
_at_one("parameter_free", {"parameter-differs"}, _parameter_free)
_at_both("watchdog_short_at_both", {"watchdog-too-short"}, _watchdog_short)
_at_both("id_gone_at_both", {"connection-id-missing"}, _id_gone)
_at_both("unknown_profile", {"unknown-profile"}, _set("profile", "fscp-99"))


@mutator
def same_role(random: Random, pair: Pair) -> Mistake | None:
    """Both ends with one role."""
    if "role" not in pair.ends[0].end:
        return None
    pair.ends[0].end["role"] = pair.ends[1].end["role"]
    mistake = _mistake("same_role", {"role-conflict"}, set())
    mistake.inner = True
    return mistake


@mutator
def one_way_turned(random: Random, pair: Pair) -> Mistake | None:
    """One end of a one-way connection says that it sends what it receives, or the reverse."""
    if any(signals(pair.rows(1, side)) for side in (0, 1)):
        return None
    end = random.choice(pair.ends)
    end.sends, end.receives = end.receives, end.sends
    return _mistake("one_way_turned", {"directions-exchanged"}, set())


@mutator
def same_file(random: Random, pair: Pair) -> Mistake | None:
    """The file of one end twice."""
    pair.ends[1].name, pair.ends[1].peer = pair.ends[0].name, pair.ends[0].peer
    return _mistake("same_file", {"wrong-file"}, set())
