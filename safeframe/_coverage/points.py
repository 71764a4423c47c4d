"""What can be exercised of a connection: points that follow from both maps and the protocol.

The points do not hang on the order of the maps or of their rows, so that results of several runs
can be put together. What cannot be asked for is told with its reason and never counts as seen.
"""

from __future__ import annotations

from collections.abc import Iterator

from .._errors import UsageError
from .._link import Link
from ..protocols import room
from ..protocols.recording import RecordingTraits
from .plan import CoveragePlan
from .related import add_relations
from .signals import add_signals

_ID_ERRORS = ("insertion", "addressing")
"""Communication errors that an id in the frame shows, where the protocol has one."""


def plan_of(link: Link) -> CoveragePlan:
    """Return the points of a connection."""
    plan = CoveragePlan(link=link)
    sides = sorted((side for side in (0, 1) if link.carries[side]), key=lambda at: link.names[at])
    for side in sides:
        add_signals(plan, side)
    known: set[object] = set()
    for end in sorted((0, 1), key=lambda at: link.names[at]):
        add_relations(plan, end, known)
    for side in sides:
        _faults(plan, side)
    _restart(plan)
    return plan


def _faults(plan: CoveragePlan, side: int) -> None:
    """Add what shows communication errors in the frames of a side, as its protocol names it."""
    link, scope = plan.link, plan.scope(side)

    def add(key: str, what: str) -> None:
        plan.faults[side, key] = plan.add("fault", scope, "frames", what)

    try:
        caught = list(dict.fromkeys(_caught(link, side)))
    except UsageError as error:
        plan.not_judged.append(f"{scope}, fault classes: {error}")
        caught = []
    # Changed data come first; where an id is changed, its check is still that of a wrong id.
    corruption = [check for error, check in caught if error == "corruption"][:1]
    plan.checks[side].update(
        check for error, check in caught if error in _ID_ERRORS and check not in corruption
    )
    recipe = room(link.profile).recipe
    if recipe and plan.checks[side]:  # A wrong id may be found by another of the ids first.
        plan.checks[side].update(recipe.identity)
    for check in dict.fromkeys(check for _, check in caught):
        if check != "watchdog" and check not in plan.checks[side]:
            add(f"rejected {check}", f"rejected: {check}")
    if plan.checks[side]:
        add("id", f"wrong id ({', '.join(sorted(plan.checks[side]))})")
    if link.watchdog_us is None:
        plan.not_judged.append(f"{scope}, silence: no watchdog is stated")
    else:
        add("silence", "silence longer than the watchdog")
    traits = room(link.profile).recording or RecordingTraits()
    if traits.fails_safe:
        add("fail-safe", "data not used after data in use")
    if traits.fails_safe or link.watchdog_us is not None:
        add("again", "data in use again after that or after silence")


def _caught(link: Link, side: int) -> Iterator[tuple[str, str]]:
    """Yield each communication error with a check that catches it."""
    from ..fixtures import ERRORS, faults  # deferred: they build frames.

    traits = room(link.profile).faults
    if traits is None:
        raise UsageError(f"no check of {link.profile} is named for them")
    if traits.runs is None:
        yield from zip(ERRORS, traits.caught_by(link, link.sent(side).size_octets), strict=True)
        return
    for made in faults(link, 0):
        for step in made.steps:
            if step.side == side and step.verdict == "reject":
                yield made.fault, step.check


def _restart(plan: CoveragePlan) -> None:
    plan.restarts = (room(plan.link.profile).recording or RecordingTraits()).restarts
    if plan.restarts:
        name = plan.link.connection.name
        plan.restart = plan.add("fault", name, "connection", "begins anew while it runs")
    else:
        plan.not_judged.append(f"restart: recordings of {plan.link.profile} do not show one")
