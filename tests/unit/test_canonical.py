"""One question, one answer: check, diff, fingerprint and record agree on what is equal."""

# ruff: noqa: E501  (a row of a map is one line)

from __future__ import annotations

import sys
import unicodedata
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from typing import Any, NamedTuple

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from safeframe import _checks as checks
from safeframe import _mapfile as mapfile
from safeframe import protocols, record
from safeframe._bits import Place
from safeframe._canonical import (
    alike,
    checksum,
    form,
    forms,
    meaning,
    parameters,
    remarks,
    reserve,
    variable,
)
from safeframe._diff import compare_edits, compare_ends, compare_versions, mixed_versions
from safeframe._fingerprint import end_fingerprint, wire_fingerprint
from safeframe._model import Connection, ConnectionTable, End, Map, Reserved, Signal
from tests.strategies import clean_connections

TABLE = """format = "safeframe-map/1"
connection = {{ name = "SC2-LM", profile = "{profile}"{terms} }}
"""
SC2 = """end = { name = "SC2", peer = "LM" }
sends = [
  { at = "0.0", name = "lower_table", one_means = "table may sink", bind = "Table.Lower" },
  { at = "0.1", reserved = 7 },
  { at = "1.0", name = "limit", width = 8, type = "uint", valid_by = "limit_ok", bind = "T.Limit" },
  { at = "2.0", name = "limit_ok", bind = "T.LimitOk" },
  { at = "2.1", name = "mode", width = 1, type = "code", codes = { 0 = "off", 1 = "creep" }, bind = "T.M" },
  { at = "2.2", reserved = 6 },
  { at = "3.0", name = "rate", width = 32, type = "float", safe = 0.1, unit = "mm/s", scale = "0.1", valid_by = "limit_ok", bind = "T.Rate" },
]
receives = [
  { at = "0.0", name = "table_down", one_means = "table is down", bind = "T.Down" },
  { at = "0.1", reserved = 7 },
]
"""
LM = """end = { name = "LM", peer = "SC2" }
sends = [
  { at = "0.0", name = "table_down", one_means = "table is down", bind = "Lm.Down" },
  { at = "0.1", reserved = 7 },
]
receives = [
  { at = "0.0", name = "lower_table", one_means = "table may sink", bind = "Lm.Lower" },
  { at = "0.1", reserved = 7 },
  { at = "1.0", name = "limit", width = 8, type = "uint", valid_by = "limit_ok", bind = "Lm.Limit" },
  { at = "2.0", name = "limit_ok", bind = "Lm.LimitOk" },
  { at = "2.1", name = "mode", width = 1, type = "code", codes = { 0 = "off", 1 = "creep" }, bind = "Lm.M" },
  { at = "2.2", reserved = 6 },
  { at = "3.0", name = "rate", width = 32, type = "float", safe = 0.1, unit = "mm/s", scale = "0.1", valid_by = "limit_ok", bind = "Lm.Rate" },
]
"""
PLAIN = ", legal_octets = [1, 7], id = 263, watchdog_ms = 60, exchange_ms = 5"


def pair(
    old: str = "", new: str = "", *, profile: str = "plain", terms: str = PLAIN, more: str = ""
) -> Connection:
    """Return the pair with a text of the second file replaced."""
    texts = [TABLE.format(profile=profile, terms=terms) + end + more for end in (SC2, LM)]
    if old:
        assert texts[1].count(old) >= 1, old
        texts[1] = texts[1].replace(old, new, 1)
    first, second = (
        mapfile.loads(text, path=name) for text, name in zip(texts, ("sc2", "lm"), strict=True)
    )
    return Connection(first=first, second=second)


class Answers(NamedTuple):
    """What each of the four says about a second end that was changed and a first that was not."""

    check: bool
    ends: bool
    edits: bool
    fingerprint: bool
    record: bool


def answers(before: Connection, after: Connection) -> Answers:
    """Return for each whether the change is none; what one end alone says counts for none."""
    old, new = (Counter(f.rule for f in checks.check(one).findings) for one in (before, after))
    edits = compare_edits(before, after)
    made = record.new(before, before)
    return Answers(
        check=old == new,
        ends=compare_ends(before) == compare_ends(after),
        edits=edits.verdict == "nothing changed",
        fingerprint=wire_fingerprint(before.second) == wire_fingerprint(after.second),
        record=record.verify(made, after).faults == record.assess(made).faults,
    )


SAME = Answers(check=True, ends=True, edits=True, fingerprint=True, record=True)
OTHER = Answers(check=False, ends=False, edits=False, fingerprint=False, record=False)

RESPELT = [
    ("table may sink", "Table  may SINK "),
    ('1 = "creep"', '1 = "Creep"'),
    (
        '{ at = "0.1", reserved = 7 },\n  { at = "1',
        '{ at = "0.1", reserved = 3 },\n{ at = "0.4", reserved = 4 },\n{ at = "1',
    ),
    ('type = "uint", valid_by', 'type = "uint", order = "big", valid_by'),
    ('scale = "0.1"', 'scale = "0.10"'),
    ('scale = "0.1"', 'scale = "1e-1"'),
    ("[1, 7]", "[7, 1, 7]"),
    ("safe = 0.1", "safe = 0.10000000149011612"),
    ("id = 263", "id = 0x0107"),
    ("Lm.Lower", " lm.LOWER "),
    ('unit = "mm/s"', 'unit = " mm/s"'),
    ("exchange_ms = 5", 'exchange_ms = 5, network = "  ", edition = " "'),
]
CHANGED = [
    ("table may sink", "table may rise"),
    ('1 = "creep"', '1 = "crawl"'),
    ('{ at = "2.2", reserved = 6 }', '{ at = "2.2", reserved = 6, value = 1 }'),
    ('scale = "0.1"', 'scale = "0.01"'),
    ("[1, 7]", "[1, 2, 7]"),
    ("safe = 0.1", "safe = 0.2"),
    ("id = 263", "id = 264"),
    (", id = 263", ""),
    (", exchange_ms = 5", ""),
    (", watchdog_ms = 60", ""),
    ("exchange_ms = 5", 'exchange_ms = 5, network = "hall"'),
    ("exchange_ms = 5", 'exchange_ms = 5, edition = "2"'),
    ("exchange_ms = 5", "exchange_ms = 5, permitted_reaction_ms = 90"),
    ('unit = "mm/s"', 'unit = "m/s"'),
    ('name = "table_down"', 'name = "table_up"'),
    ('type = "uint", valid_by = "limit_ok"', 'type = "uint"'),
    ('{ at = "2.0", name = "limit_ok"', '{ at = "2.0", edge = "rising", name = "limit_ok"'),
    ("sends = [", "parameters = { retries = 3 }\nsends = ["),
]


@pytest.mark.parametrize(("old", "new"), RESPELT)
def test_another_spelling_is_the_same_everywhere(old: str, new: str) -> None:
    after = pair(old, new)
    assert checks.check(after).findings == ()
    assert answers(pair(), after) == SAME
    assert compare_versions(pair().second, after.second) == ()
    assert end_fingerprint(pair().second) == end_fingerprint(after.second)
    assert all(
        row.verdict == "same"
        for mix in mixed_versions(pair(), after)
        for table in mix.tables
        for row in table.rows
    )


@pytest.mark.parametrize(("old", "new"), CHANGED)
def test_another_thing_is_another_one_everywhere(old: str, new: str) -> None:
    assert answers(pair(), pair(old, new)) == OTHER


def test_the_octet_order_counts_from_two_octets_on() -> None:
    wide = Signal(name="x", at=Place(0, 0), width=16, type="uint")
    assert not alike(wide, replace(wide, order="big"), "order")
    narrow = replace(wide, width=8)
    assert alike(narrow, replace(narrow, order="big"), "order")
    assert forms(narrow) == forms(replace(narrow, order="big"))


@pytest.mark.parametrize(
    ("given", "same"),
    [
        (float("nan"), float("nan")),
        (0.0, -0.0),
        (1, 1.0),
        (1e39, 1e39),  # Beyond its width: it is itself.
        (10**400, 10**400),
    ],
)
def test_safe_values_of_a_float(given: float, same: float) -> None:
    one, two = (
        Signal(name="x", at=Place(0, 0), width=32, type="float", safe=safe)
        for safe in (given, same)
    )
    assert form(one, "safe") == form(two, "safe")
    assert form(one, "safe") != form(replace(one, safe=7.5), "safe")


def test_safe_values_beyond_a_float_are_themselves() -> None:
    values = (0.0, 1.0, 1e39, 2e39, -1e39, 10**400, 10**401)
    signals = [
        Signal(name="x", at=Place(0, 0), width=32, type="float", safe=safe) for safe in values
    ]
    assert len({form(signal, "safe") for signal in signals}) == len(values)


def test_one_safe_value_in_other_widths_is_no_change_of_its_own() -> None:
    """0.1 in 16, 32 and 64 bits is carried as three numbers, but people have stated one."""
    half, narrow, wide = (
        Signal(name="x", at=Place(0, 0), width=width, type="float", safe=0.1)
        for width in (16, 32, 64)
    )
    assert len({form(signal, "safe") for signal in (half, narrow, wide)}) == 3
    assert alike(half, narrow, "safe")
    assert alike(narrow, wide, "safe")
    assert not alike(narrow, replace(wide, safe=0.2), "safe")


def test_a_scale_that_is_no_number_is_itself() -> None:
    signal = Signal(name="x", at=Place(0, 0), scale="a tenth")
    assert form(signal, "scale") == "a tenth"


TWO_TEXTS = [
    ('unit = "mm/s"', 'unit = "10² N"', 'unit = "102 N"', "'10\\xb2 N' and '102 N'"),
    ('unit = "mm/s"', 'unit = "2⁵ N"', 'unit = "25 N"', "'2\\u2075 N' and '25 N'"),
    ('unit = "mm/s"', 'unit = "½ N"', 'unit = "1⁄2 N"', "'\\xbd N' and '1\\u20442 N'"),
    ('unit = "mm/s"', 'unit = "\uff4d"', 'unit = "m"', "'\\uff4d' and 'm'"),
    ('unit = "mm/s"', 'unit = "µm"', 'unit = "mm"', ""),
    ("table may sink", "limit 10²", "limit 102", "'limit 10\\xb2' and 'limit 102'"),
    ("table may sink", "Maße", "Masse", "'Ma\\xdfe' and 'Masse'"),
    ("table may sink", "over 5 mW", "over 5 MW", ""),
    ("table may sink", "over 5mΩ/s", "over 5MΩ/s", "'over 5m\\u03a9/s' and 'over 5M\\u03a9/s'"),
    ("table may sink", "over 5 Nm", "over 5 nm", ""),
    ('1 = "creep"', '1 = "x²"', '1 = "x2"', "'x\\xb2' and 'x2'"),
    ('1 = "creep"', '1 = "5 MV"', '1 = "5 mV"', ""),
    ("exchange_ms = 5", 'edition = "2²"', 'edition = "22"', "'2\\xb2' and '22'"),
    ("exchange_ms = 5", 'network = "hall²"', 'network = "hall2"', "'hall\\xb2' and 'hall2'"),
]


def both_ends(old: str, one: str, two: str) -> Connection:
    """Return the pair with a text of each file replaced."""
    texts = [TABLE.format(profile="plain", terms=PLAIN) + end for end in (SC2, LM)]
    assert all(old in text for text in texts)
    first, second = (
        mapfile.loads(text.replace(old, new, 1), path=name)
        for text, new, name in zip(texts, (one, two), ("sc2", "lm"), strict=True)
    )
    return Connection(first=first, second=second)


@pytest.mark.parametrize(("old", "one", "two", "shown"), TWO_TEXTS)
def test_what_only_looks_alike_is_two_texts_everywhere(
    old: str, one: str, two: str, shown: str
) -> None:
    """MUST: two ends that state different figures are never said to agree."""
    for left, right in ((one, two), (two, one)):
        before, after = both_ends(old, left, left), both_ends(old, left, right)
        assert checks.check(before).findings == ()
        assert answers(before, after) == OTHER
        (finding,) = checks.check(after).findings
        assert finding.severity == "error"
        assert ("as code points: " in finding.message) == bool(shown)
    (finding,) = checks.check(both_ends(old, one, two)).findings
    words = f" (only the form of letters or figures differs; as code points: {shown})"
    assert not shown or finding.message.endswith(words)


ONE_TEXT = [
    ('unit = "mm/s"', 'unit = "\u00b5m"', 'unit = "\u03bcm"'),
    ('unit = "mm/s"', 'unit = "\u2103"', 'unit = "\u00b0C"'),
    ('unit = "mm/s"', 'unit = "\u2109"', 'unit = "\u00b0F"'),
    ('unit = "mm/s"', 'unit = "\u2126"', 'unit = "\u03a9"'),
    ('unit = "mm/s"', 'unit = "\u212b"', 'unit = "A\u030a"'),
    ("table may sink", "größer 2", "GRO\u0308\u1e9eER 2"),
    ("table may sink", "over 5 mm/s, 20 ms", "OVER 5 MM/S, 20 MS"),
    ("table may sink", "Zone 1 Nmax, 24 V", "zone 1 nMAX, 24 v"),
    ("table may sink", "\u01f0", "J\u030c"),
    ("exchange_ms = 5", 'edition = "\u00e9"', 'edition = "e\u0301"'),
]


@pytest.mark.parametrize(("old", "one", "two"), ONE_TEXT)
def test_one_text_typed_in_two_ways_is_one_everywhere(old: str, one: str, two: str) -> None:
    before, after = both_ends(old, one, one), both_ends(old, one, two)
    assert checks.check(after).findings == ()
    assert answers(before, after) == SAME
    assert wire_fingerprint(after.first) == wire_fingerprint(after.second)


def test_variables_are_no_case_folded_ones() -> None:
    assert variable("Lift.MASS") == variable("lift.Mass")
    assert variable("Lift.Maße") != variable("Lift.Masse")
    assert variable("Lift.X²") != variable("Lift.X2")


def _second(text: str) -> str:
    """Return the form of edition 2, as docs/fingerprints.md described it."""
    return " ".join(unicodedata.normalize("NFKC", text).split()).casefold()


@given(st.text(), st.text())
def test_what_is_equal_now_was_equal_before(one: str, two: str) -> None:
    """MUST: edition 3 tells more apart than edition 2, so that no text got a new equal one."""
    assert _second(meaning(one)) == _second(one)
    assert meaning(meaning(one)) == meaning(one)
    assert _second(one) == _second(two) or meaning(one) != meaning(two)


def test_of_every_character_as_well() -> None:
    every = [chr(code) for code in range(sys.maxunicode + 1)]
    # Unassigned ones and those for private use stand for themselves: one text holds them all.
    plain = [text for text in every if unicodedata.category(text) in ("Cn", "Co")]
    assert meaning("".join(plain)) == _second("".join(plain)) == "".join(plain)
    for character in set(every).difference(plain):
        for text in (character, f"5 m{character}"):
            assert _second(meaning(text)) == _second(text), ord(character)


@pytest.mark.parametrize(
    ("text", "plain"),
    [
        ("4F2A-0011", "4f2a0011"),
        (" 0x4f2a 0011 ", "4f2a0011"),
        ("4F:2A:00:11", "4f2a0011"),
        ("4F'2A_00.11", "4f2a0011"),
        ("0", "0"),
        ("V-12.x", "V-12.x"),  # No figure: its signs may mean something.
        ("-", "-"),
        ("-123", "-123"),
        ("1.10", "1.10"),
        ("11.0", "11.0"),
        ("1.2.3", "1.2.3"),
        ("4F2A--0011", "4F2A--0011"),
        ("aB3=", "aB3="),  # Base64 tells capitals from small letters.
        ("", ""),
    ],
)
def test_checksums(text: str, plain: str) -> None:
    assert checksum(text) == plain


def test_a_read_back_may_be_grouped() -> None:
    entry = record.ReadBack(
        end="SC2", who="a", when="b", serial="c", checksum="4F2A-0011", expected="4f2a0011"
    )
    assert entry.matches
    assert not replace(entry, expected="4f2a0012").matches
    assert not replace(entry, checksum=" ", expected=" ").matches


def test_reserve_bit_by_bit() -> None:
    whole = Map(entries=(Reserved(at=Place(0, 2), width=3, value=0b101, note="n"),))
    parts = Map(
        entries=(
            Reserved(at=Place(0, 3), width=2, value=0b10, note="n"),
            Reserved(at=Place(0, 2), width=1, value=1, note="n"),
        )
    )
    assert reserve(whole) == reserve(parts) == ((2, 1), (3, 0), (4, 1))
    assert remarks(whole) == remarks(parts) == ((2, 5, "n"),)
    assert remarks(Map(entries=(Reserved(at=Place(0, 0), width=1),))) == ()


def test_remarks_are_one_where_they_meet_and_say_the_same() -> None:
    runs = [(0, 2, "a"), (2, 1, "b"), (3, 1, "b"), (6, 1, "b")]
    made = tuple(Reserved(at=Place(0, bit), width=width, note=note) for bit, width, note in runs)
    assert remarks(Map(entries=made)) == ((0, 2, "a"), (2, 4, "b"), (6, 7, "b"))


class TestParameters:
    """What the profile marks as the same at both ends counts everywhere, stated or left out."""

    DEVICE = ", watchdog_ms = 150, exchange_ms = 9"
    STATED = "parameters = { sil = 3, source_address = 2, destination_address = 7 }\n"

    def pair(self, old: str = "", new: str = "") -> Connection:
        found = pair(old, new, profile="fscp-3-1", terms=self.DEVICE, more=self.STATED)
        host, device = found.ends
        return Connection(
            first=replace(host, role="host"), second=replace(device, role="device", address=7)
        )

    @pytest.mark.parametrize(
        ("old", "new", "text"),
        [
            ("sil = 3, ", "", "the parameter sil is 3 at SC2 and not stated at LM"),
            ("sil = 3", "sil = 2", "the parameter sil is 3 at SC2 and 2 at LM"),
            (
                "address = 7 }",
                "address = 7, parameter_crc = 4711 }",
                "the parameter parameter_crc is not stated at SC2 and 4711 at LM",
            ),
        ],
    )
    def test_one_end_only(self, old: str, new: str, text: str) -> None:
        before, after = self.pair(), self.pair(old, new)
        assert text in [finding.message for finding in checks.check(after).findings]
        assert answers(before, after) == OTHER
        name = text.split()[2]
        (step,) = compare_edits(before, after).differences
        assert (step.level, step.section, step.subject) == ("wire", "parameters", name)
        for mix in mixed_versions(before, Connection(first=before.first, second=after.second))[1:]:
            assert [table.refused for table in mix.tables] == [(f"parameter {name}",)] * 2
            assert {row.verdict for table in mix.tables for row in table.rows} == {"no frame"}

    def test_both_ends_alike(self) -> None:
        before = self.pair()
        after = Connection(
            first=replace(
                before.first, parameters=(*before.first.parameters, ("parameter_crc", 1))
            ),
            second=replace(
                before.second, parameters=(*before.second.parameters, ("parameter_crc", 1))
            ),
        )
        edits = compare_edits(before, after)
        assert (edits.verdict, edits.disagree) == ("identical", ())
        assert record.compute(before, after).verdict == "identical"
        assert {reason.name for reason in record.compute(before, after).classes} == {"identity"}
        assert wire_fingerprint(after.first) == wire_fingerprint(after.second)
        assert wire_fingerprint(after.first) != wire_fingerprint(before.first)

    def test_a_missing_one_that_must_be_there_is_told_once(self) -> None:
        end = End(
            name="P",
            peer="C",
            connection_table=ConnectionTable(name="P-C", profile="opcua-safety"),
            parameters=(("provider_id", 4),),
        )
        other = replace(end, name="C", peer="P", parameters=())
        found = checks.check(Connection(first=end, second=other)).findings
        told = [one.message for one in found if "provider_id" in one.message]
        assert told == ["the parameter provider_id of C is missing"]

    @pytest.mark.parametrize(
        ("profile", "name", "one", "two"),
        [
            (
                "opcua-safety",
                "base_id",
                "72962B91-FA75-4AE6-8D28-B404DC7DAF63",
                "72962b91-fa75-4ae6-8d28-b404dc7daf63",
            ),
            ("fscp-13-1", "manager_id", "0A1B2C3D4E5F", "0a 1b 2c 3d 4e 5f"),
            ("fscp-12-1", "application_parameters", "00 FF", "00ff"),
        ],
    )
    def test_octets_in_either_case(self, profile: str, name: str, one: str, two: str) -> None:
        table = ConnectionTable(name="a", profile=profile)
        first, second = (
            End(name="A", peer="B", connection_table=table, parameters=((name, value),))
            for value in (one, two)
        )
        assert wire_fingerprint(first) == wire_fingerprint(second)
        assert compare_versions(first, second) == ()
        assert [found.form for found in parameters(first)] == [
            found.form for found in parameters(second)
        ]

    def test_octets_that_are_none(self) -> None:
        before = pair(profile="fscp-13-1", terms="", more='parameters = { manager_id = "0A1" }\n')
        told = [finding.message for finding in checks.check(before).findings]
        assert (
            "the parameter manager_id of SC2 must be octets of two hexadecimal digits each, such "
            "as 00 1A, not 0A1" in told
        )

    def test_a_profile_of_ones_own_says_what_belongs_to_one_end(self) -> None:
        rule = protocols.ParameterRule(name="retries", type="int")
        own = {"mine": replace(protocols.load("plain"), name="mine", parameters=(rule,))}
        before = pair(profile="mine")
        after = Connection(
            first=before.first, second=replace(before.second, parameters=(("retries", 3),))
        )
        assert wire_fingerprint(after.first) != wire_fingerprint(after.second)
        assert wire_fingerprint(after.first, own_profiles=own) == wire_fingerprint(
            after.second, own_profiles=own
        )
        assert checks.check(after, own_profiles=own).findings == ()
        assert compare_ends(after, own_profiles=own) == ()
        assert compare_edits(before, after, own_profiles=own).verdict == "nothing changed"
        assert end_fingerprint(after.second, own_profiles=own) != end_fingerprint(
            before.second, own_profiles=own
        )


@pytest.mark.parametrize(("field", "value"), [("id", 264), ("id", None), ("profile", "fscp-12-1")])
def test_ends_that_take_no_frame_of_each_other(field: str, value: Any) -> None:
    before = pair()
    first, second = (
        replace(end, connection_table=replace(end.connection_table, **{field: value}))
        for end in before.ends
    )
    after = Connection(first=first, second=second)
    for mix in mixed_versions(before, after):
        for table in mix.tables:
            assert (table.refused, table.accepted) == ((field,), False)
            assert {row.verdict for row in table.rows} == {"no frame"}


def _cased(text: str) -> str:
    return f" {text.upper()}  " if text.upper().casefold() == text.casefold() else text


def _signals(map_: Map, change: Callable[[Signal], Signal]) -> Map:
    return replace(
        map_,
        entries=tuple(
            change(entry) if isinstance(entry, Signal) else entry for entry in map_.entries
        ),
    )


def _cut(map_: Map) -> Map:
    entries: list[Signal | Reserved] = []
    for entry in map_.entries:
        if isinstance(entry, Reserved) and entry.width > 1:
            first = replace(entry, width=1, value=entry.value & 1)
            rest = replace(
                entry,
                at=Place.at(entry.start + 1),
                width=entry.width - 1,
                value=entry.value >> 1,
            )
            entries += (first, rest)
        else:
            entries.append(entry)
    return replace(map_, entries=tuple(entries))


COSMETIC: dict[str, Callable[[Map], Map]] = {
    "meaning": lambda map_: _signals(map_, lambda s: replace(s, one_means=_cased(s.one_means))),
    "codes": lambda map_: _signals(
        map_, lambda s: replace(s, codes=tuple((number, _cased(name)) for number, name in s.codes))
    ),
    "order": lambda map_: _signals(
        map_, lambda s: replace(s, order="big") if s.width == 8 and not s.at.bit else s
    ),
    "scale": lambda map_: _signals(map_, lambda s: replace(s, scale=f"{s.scale}.0")),
    "bind": lambda map_: _signals(map_, lambda s: replace(s, bind=_cased(s.bind))),
    "unit": lambda map_: _signals(map_, lambda s: replace(s, unit=f" {s.unit}")),
    "reserve": _cut,
}
REAL: dict[str, dict[str, Any]] = {
    "meaning": {"one_means": "quite another thing"},
    "name": {"name": "quite_another_name"},
    "safe": {"safe": 1},
    "edge": {"edge": "both"},
    "unit": {"unit": "bar"},
    "scale": {"scale": "7"},
}


class TestOneAnswer:
    """Check, diff, fingerprint and record MUST agree on what is equal, for every pair of maps."""

    @settings(max_examples=20)
    @given(clean_connections("plain"), st.sets(st.sampled_from(sorted(COSMETIC)), min_size=1))
    def test_spellings(self, before: Connection, chosen: set[str]) -> None:
        second = before.second
        table = second.connection_table
        sends, receives = second.sends, second.receives
        for name in sorted(chosen):
            sends, receives = COSMETIC[name](sends), COSMETIC[name](receives)
        second = replace(
            second,
            sends=sends,
            receives=receives,
            connection_table=replace(table, legal_octets=table.legal_octets[::-1], network=" "),
        )
        after = Connection(first=before.first, second=second)
        assert answers(before, after) == SAME
        assert compare_versions(before.second, second) == ()
        assert end_fingerprint(before.second) == end_fingerprint(second)

    @settings(max_examples=20)  # Each example makes and verifies a record.
    @given(
        clean_connections("plain"),
        st.sampled_from(sorted(REAL)),
        st.sets(st.sampled_from(sorted(COSMETIC))),
        st.data(),
    )
    def test_changes(
        self, before: Connection, real: str, chosen: set[str], data: st.DataObject
    ) -> None:
        received = before.second.receives
        signal = data.draw(st.sampled_from(received.signals))
        received = _signals(received, lambda s: replace(s, **REAL[real]) if s is signal else s)
        for name in sorted(chosen):
            received = COSMETIC[name](received)
        after = Connection(first=before.first, second=replace(before.second, receives=received))
        assert answers(before, after) == OTHER


def test_zero_of_a_parameter_has_no_sign() -> None:
    """What agrees in a check MUST have one fingerprint."""
    ends = [replace(pair().first, parameters=(("x", value),)) for value in (0.0, -0.0, 0)]
    shown = [[repr(found.form) for found in parameters(end)] for end in ends]
    assert shown[0] == shown[1] != shown[2]
    assert wire_fingerprint(ends[0]) == wire_fingerprint(ends[1]) != wire_fingerprint(ends[2])
