"""Differences between two maps of one end, or between the maps of the two ends."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from itertools import zip_longest

from .._canonical import Parameter, alike, parameters, shared_parameters
from .._model import Allowance, Connection, ConnectionTable, End
from ..protocols import Profile
from .changes import BEFORE_AFTER, NOT_STATED, Change, show, unit_of, worst_first
from .levels import FIELDS
from .maps import compare_maps


def compare_versions(
    before: End, after: End, *, own_profiles: Mapping[str, Profile] | None = None
) -> tuple[Change, ...]:
    """Return what changed at one end, worst level first, then in map order.

    ``own_profiles`` are the user's profiles by name.

    >>> before = safeframe.load("lx.toml")
    >>> from dataclasses import replace
    >>> safeframe.compare_versions(before, replace(before, note="reviewed"))[0].level
    'text'
    """
    return worst_first(
        [
            *_fields(
                "ConnectionTable",
                before.connection_table,
                after.connection_table,
                "connection",
                before,
                after,
            ),
            *_fields("End", before, after, "end", before, after),
            *_parameters(
                {found.name: found for found in parameters(before, own_profiles)},
                {found.name: found for found in parameters(after, own_profiles)},
                before,
                after,
            ),
            *compare_maps(before.sends, after.sends, "sends"),
            *compare_maps(before.receives, after.receives, "receives"),
            *_relations(before, after),
            *_allowances(before, after),
            *_imported(before, after),
        ]
    )


def compare_ends(
    connection: Connection, *, own_profiles: Mapping[str, Profile] | None = None
) -> tuple[Change, ...]:
    """Return where the ends differ in what they must share, worst level first.

    Bindings, notes, roles, addresses, allowances, and the parameters that the profile leaves to
    each end belong to one end each and are not compared; nor are relations that one end alone
    states. ``own_profiles`` are the user's profiles by name.

    >>> first, second = safeframe.load("sc1.toml"), safeframe.load("lx.toml")
    >>> connection = safeframe.Connection(first=first, second=second)
    >>> for change in safeframe.compare_ends(connection):
    ...     print(change.subject, change.before, change.after)
    brake1_release 0.1 0.2
    brake2_release 0.2 0.1
    """
    first, second = connection.ends
    changes = [
        *_fields(
            "ConnectionTable",
            first.connection_table,
            second.connection_table,
            "connection",
            first,
            second,
            (first.name, second.name),
        ),
        *_parameters(
            shared_parameters(first, own_profiles),
            shared_parameters(second, own_profiles),
            first,
            second,
            (first.name, second.name),
        ),
        *_peer(first, second),
        *_peer(second, first),
        *_unequal_relations(connection),
    ]
    for direction in connection.directions():
        changes += compare_maps(
            direction.sent,
            direction.received,
            direction.name,
            sides=(direction.producer.name, direction.consumer.name),
            shared=True,
        )
    return worst_first(changes)


def _peer(naming: End, named: End) -> Iterator[Change]:
    if naming.peer != named.name:
        yield Change(
            level="name",
            kind="attribute",
            section="end",
            subject=named.name,
            field="peer",
            before=show("peer", naming.peer),
            after=show("name", named.name),
            sides=(naming.name, named.name),
            before_where=naming.locate("end.peer"),
            after_where=named.locate("end.name"),
        )


def _fields(
    table: str,
    before: ConnectionTable | End,
    after: ConnectionTable | End,
    section: str,
    left: End,
    right: End,
    sides: tuple[str, str] = BEFORE_AFTER,
) -> Iterator[Change]:
    for field, rule in FIELDS[table].items():
        if rule.kind != "attribute":
            continue
        old, new = getattr(before, field), getattr(after, field)
        if not alike(before, after, field):
            yield Change(
                level=rule.level,
                kind=rule.kind,
                section=section,
                subject=section,
                field=field,
                before=show(field, old),
                after=show(field, new),
                values=(old, new),
                unit=unit_of(field),
                sides=sides,
                before_where=left.locate(f"{section}.{field}"),
                after_where=right.locate(f"{section}.{field}"),
            )


def _parameters(
    old: Mapping[str, Parameter],
    new: Mapping[str, Parameter],
    left: End,
    right: End,
    sides: tuple[str, str] = BEFORE_AFTER,
) -> Iterator[Change]:
    rule = FIELDS["End"]["parameters"]
    for name in sorted(old.keys() | new.keys()):
        was, now = old.get(name), new.get(name)
        if was is None or now is None or was.form != now.form:
            yield Change(
                level=rule.level,
                kind=rule.kind,
                section="parameters",
                subject=name,
                before=_typed(was),
                after=_typed(now),
                values=(was.value if was else None, now.value if now else None),
                sides=sides,
                before_where=left.locate(f"parameters.{name}") if was else None,
                after_where=right.locate(f"parameters.{name}") if now else None,
            )


def _imported(before: End, after: End) -> Iterator[Change]:
    """Tell where a map came from another file, or was read in another way; never on the wire."""
    old, new = before.imported, after.imported
    for field in ("format", "file", "sha256", "select", "options", "version"):
        # By the values: two paths may read like one that holds a comma.
        values = [getattr(origin, field, "") or "" for origin in (old, new)]
        if values[0] != values[1]:
            yield Change(
                level="text",
                kind="attribute",
                section="imported",
                subject="imported",
                field=field,
                before=_stated(values[0]),
                after=_stated(values[1]),
                before_where=before.locate(f"imported.{field}") if old else None,
                after_where=after.locate(f"imported.{field}") if new else None,
            )


def _stated(value: str | tuple[str, ...]) -> str:
    return (", ".join(value) if isinstance(value, tuple) else value) or NOT_STATED


def _typed(found: Parameter | None) -> str:
    # Python takes True, 1 and 1.0 for equal; in a map file they are three different values.
    if found is None:
        return NOT_STATED
    import json  # deferred: it costs start-up time and most edits touch no parameter.

    return json.dumps(found.value, ensure_ascii=False)


def _relations(before: End, after: End) -> Iterator[Change]:
    old = {relation.name: relation for relation in before.relations}
    new = {relation.name: relation for relation in after.relations}
    rule = FIELDS["End"]["relations"]
    for name in sorted(old.keys() | new.keys()):
        was, now = old.get(name), new.get(name)
        if was == now:
            continue
        field = ""
        texts = [str(relation) if relation else NOT_STATED for relation in (was, now)]
        if was and now and texts[0] == texts[1]:
            field, texts = "reason", [was.reason, now.reason]
        yield Change(
            level=rule.level,
            kind=rule.kind,
            section="relations",
            subject=name,
            field=field,
            before=show(field, texts[0]),
            after=show(field, texts[1]),
            before_where=was.where if was else None,
            after_where=now.where if now else None,
        )


def _unequal_relations(connection: Connection) -> Iterator[Change]:
    """Tell the relations of one name that both ends state, each in its own way."""
    first, second = connection.ends
    if not (first.relations and second.relations):
        return
    from ..relations._rules import unequal  # deferred: most maps state no relation.

    for relation, other in unequal(connection):
        yield Change(
            level="value",
            kind="relation",
            section="relations",
            subject=relation.name,
            before=str(relation),
            after=str(other),
            sides=(first.name, second.name),
            before_where=relation.where,
            after_where=other.where,
        )


def _by_rule(end: End) -> dict[tuple[str, str], list[Allowance]]:
    found: dict[tuple[str, str], list[Allowance]] = {}
    for entry in end.allowances:
        found.setdefault((entry.rule, entry.signal), []).append(entry)
    return found


def _changed(
    old: Sequence[Allowance], new: Sequence[Allowance]
) -> tuple[list[Allowance], list[Allowance]]:
    """Return the allowances of one rule that only one of two states has, each in its order."""
    before, after = Counter(one.reason for one in old), Counter(one.reason for one in new)
    gone, come = before - after, after - before
    return _take(old, gone), _take(new, come)


def _take(given: Sequence[Allowance], reasons: Counter[str]) -> list[Allowance]:
    found = []
    for one in given:
        if reasons[one.reason]:
            reasons[one.reason] -= 1
            found.append(one)
    return found


def _allowances(before: End, after: End) -> Iterator[Change]:
    old, new = _by_rule(before), _by_rule(after)
    rule = FIELDS["End"]["allowances"]
    for key in sorted(old.keys() | new.keys()):
        for was, now in zip_longest(*_changed(old.get(key, []), new.get(key, []))):
            yield Change(
                level=rule.level,
                kind=rule.kind,
                section="allow",
                subject=key[0],
                field=key[1],
                before=was.reason if was else NOT_STATED,
                after=now.reason if now else NOT_STATED,
                before_where=was.where if was else None,
                after_where=now.where if now else None,
            )
