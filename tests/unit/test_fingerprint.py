"""Fingerprints: what they cover, what they leave out, and numbers that must never move."""

from __future__ import annotations

import dataclasses
import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from safeframe import _demo as demo
from safeframe import _mapfile as mapfile
from safeframe._bits import Place
from safeframe._diff import FIELDS, compare_ends, compare_versions
from safeframe._fingerprint import (
    SHARED,
    canonical,
    digest,
    end_document,
    end_fingerprint,
    plain,
    wire_document,
    wire_facts,
    wire_fingerprint,
)
from safeframe._model import Connection, End, Map, Reserved, Signal
from safeframe._source import Location
from safeframe.protocols import Source
from tests.rules.examples import examples
from tests.strategies import clean_connections, ends

SITE = demo.after()
SC1, LX = (mapfile.loads(SITE[name], path=name) for name in ("sc1-lx.toml", "lx-sc1.toml"))
WIRE = "b2cbbef7e2d2cf69ff36aa896042b0defa46761427fb6415dac03503d2e85e87"


def prints(end: End) -> tuple[str, str]:
    return wire_fingerprint(end), end_fingerprint(end)


def split(map_: Map) -> Map:
    """Cut every reserved run into single bits and turn the order of the rows round."""
    entries: list[Signal | Reserved] = []
    for entry in map_.entries:
        if isinstance(entry, Signal):
            entries.append(entry)
            continue
        entries += (
            Reserved(at=Place.at(entry.start + bit), width=1, value=entry.value >> bit & 1)
            for bit in range(entry.width)
        )
    return Map(entries=tuple(reversed(entries)))


def test_both_ends_have_one_wire_fingerprint() -> None:
    assert wire_fingerprint(SC1) == wire_fingerprint(LX)
    assert end_fingerprint(SC1) != end_fingerprint(LX)


def test_every_field_belongs_to_one_fingerprint() -> None:
    shared = {
        table: {name for name, rule in rules.items() if rule.shared}
        for table, rules in FIELDS.items()
        if table in SHARED
    }
    assert shared == {table: set(names) for table, names in SHARED.items()}
    for value in (SC1.sends.signals[0], SC1.sends.reserved[0], SC1.connection_table, SC1):
        table = type(value).__name__
        fields = {field.name for field in dataclasses.fields(value) if field.compare}
        assert fields - {"connection_table", "sends", "receives"} == set(FIELDS[table])


def test_documents() -> None:
    end = replace(
        SC1,
        sends=Map(
            entries=(
                Reserved(at=Place(0, 2), width=2, value=2, note="spare"),
                Signal(name="x", at=Place(0, 0), width=2, type="uint", bind="V.X"),
            )
        ),
        receives=Map(),
        parameters=(("retry", 3),),
        address=4,
    )
    assert wire_document(end) == {
        "format": "safeframe-canonical/2",
        "covers": "wire",
        "connection": {
            "name": "SC1-LX",
            "profile": "fscp-12-1",
            "edition": "2010",
            "id": 263,
            "watchdog_ms": 100,
            "exchange_ms": 12,
            "permitted_reaction_ms": None,
            "legal_octets": [],
            "network": "",
        },
        "parameters": {"retry": ["int", 3]},
        "directions": [
            {"producer": "LX", "consumer": "SC1", "signals": [], "reserved": []},
            {
                "producer": "SC1",
                "consumer": "LX",
                "signals": [
                    {
                        "name": "x",
                        "at": "0.0",
                        "width": 2,
                        "type": "uint",
                        "order": "little",
                        "safe": 0,
                        "one_means": "",
                        "edge": "",
                        "unit": "",
                        "scale": "1",
                        "codes": [],
                        "valid_by": "",
                    }
                ],
                "reserved": [[2, 0], [3, 1]],
            },
        ],
    }
    assert end_document(end) == {
        "format": "safeframe-canonical/2",
        "covers": "end",
        "connection": {"name": "SC1-LX"},
        "end": {
            "name": "SC1",
            "role": "master",
            "address": 4,
            "relations": [],
            "parameters": {},
            "allowances": [],
            "note": "",
        },
        "sends": {
            "signals": [{"at": "0.0", "name": "x", "mirrors": "", "bind": "v.x", "note": ""}],
            "reserved": [{"at": "0.2", "width": 2, "note": "spare"}],
        },
        "receives": {"signals": [], "reserved": []},
    }


def test_facts() -> None:
    both = Connection(first=SC1, second=LX)
    assert wire_facts(both) == (("SC1-LX wire fingerprint", wire_fingerprint(LX)[:16]),)
    other = replace(LX, connection_table=replace(LX.connection_table, exchange_ms=13))
    assert wire_facts(Connection(first=SC1, second=other)) == (
        (
            "SC1-LX wire fingerprint",
            f"{wire_fingerprint(SC1)[:16]} at SC1, {wire_fingerprint(other)[:16]} at LX "
            "(diff shows why)",
        ),
    )


def test_plain() -> None:
    source = Source(tag="T", text="t", confidence="memory")
    assert plain(source) == {"tag": "T", "text": "t", "confidence": "memory"}
    assert plain((Place(1, 2), b"\x0f", [1.5, None])) == ["1.2", "0f", [1.5, None]]
    assert plain({"a": {"b": (Place(1, 2),)}}) == {"a": {"b": ["1.2"]}}
    assert plain(Reserved(at=Place(0, 0), width=1, where=Location(path="x"))) == {
        "at": "0.0",
        "width": 1,
        "value": 0,
        "note": "",
    }


def test_canonical_json() -> None:
    assert canonical({"b": [1, 1.0, True], "a": "ü\n"}) == '{"a":"\\u00fc\\n","b":[1,1.0,true]}'
    with pytest.raises(ValueError, match="Out of range float"):
        canonical(float("nan"))


def test_digest_is_sha_256() -> None:
    # FIPS 180-4 example of one block.
    assert digest(b"abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


@pytest.mark.parametrize("which", range(3))
def test_zeros_of_a_safe_value_are_one(which: int) -> None:
    safe: Any = (0, 0.0, -0.0)[which]
    signal = Signal(name="x", at=Place(0, 0), width=32, type="float", safe=safe)
    (row,) = wire_document(replace(SC1, sends=Map(entries=(signal,))))["directions"][1]["signals"]
    assert json.dumps(row["safe"]) == "0.0"


class TestSameAtBothEnds:
    """The wire fingerprints of two ends MUST be equal exactly when the ends share everything."""

    @given(clean_connections())
    def test_clean(self, connection: Connection) -> None:
        assert wire_fingerprint(connection.first) == wire_fingerprint(connection.second)

    @given(clean_connections(), st.data())
    def test_one_field_of_one_end(self, connection: Connection, data: st.DataObject) -> None:
        end = connection.second
        entries = list(end.receives.entries)
        number = data.draw(st.integers(0, len(entries) - 1))
        entry = entries[number]
        change: dict[str, Any]
        if isinstance(entry, Reserved):
            change = data.draw(st.sampled_from(({"value": 1}, {"note": "x"})))
        else:
            change = data.draw(
                st.sampled_from(({"name": "y"}, {"safe": 1}, {"bind": "z"}, {"one_means": "w"}))
            )
        entries[number] = replace(entry, **change)
        changed = Connection(
            first=connection.first,
            second=replace(end, receives=Map(entries=tuple(entries))),
        )
        same = wire_fingerprint(changed.first) == wire_fingerprint(changed.second)
        assert same == (compare_ends(changed) == ())
        assert prints(changed.second) != prints(end)


@pytest.mark.no_cover
class TestLayout:
    """Comments, spacing, the order of rows and the path MUST NOT change a fingerprint."""

    @given(ends())
    def test_rewritten(self, end: End) -> None:
        text = "# a comment\n" + mapfile.dumps(end).replace(" = ", "  =   ", 1)
        again = mapfile.loads(text, path="elsewhere/x.toml")
        assert prints(again) == prints(end)

    @given(ends())
    def test_rows_in_another_order(self, end: End) -> None:
        turned = replace(
            end,
            sends=Map(entries=end.sends.entries[::-1]),
            receives=Map(entries=end.receives.entries[::-1]),
            relations=end.relations[::-1],
            allowances=end.allowances[::-1],
        )
        assert prints(turned) == prints(end)

    @given(ends())
    def test_reserve_in_other_pieces(self, end: End) -> None:
        cut = replace(end, sends=split(end.sends), receives=split(end.receives))
        assert wire_fingerprint(cut) == wire_fingerprint(end)


@pytest.mark.no_cover
class TestEveryDifference:
    """Two ends that differ in any field MUST differ in one of both fingerprints."""

    @given(ends(), ends(), st.data())
    def test_one_field(self, end: End, other: End, data: st.DataObject) -> None:
        table = data.draw(st.sampled_from(("End", "ConnectionTable")))
        if table == "End":
            names = [f.name for f in dataclasses.fields(End) if f.compare]
            name = data.draw(st.sampled_from(names))
            changed = replace(end, **{name: getattr(other, name)})
        else:
            names = [f.name for f in dataclasses.fields(end.connection_table)]
            name = data.draw(st.sampled_from(names))
            connection_table = replace(
                end.connection_table, **{name: getattr(other.connection_table, name)}
            )
            changed = replace(end, connection_table=connection_table)
        if compare_versions(end, changed):
            assert prints(changed) != prints(end)


def test_the_demo_fingerprint_never_moves() -> None:
    """Whoever wrote it into a record must find it again, with every later release."""
    assert wire_fingerprint(SC1) == WIRE


def test_the_documented_lines_agree_on_every_example(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Anybody MUST be able to recompute a wire fingerprint without this package."""
    page = Path(__file__).parents[2] / "docs" / "fingerprints.md"
    code = page.read_text(encoding="utf-8").split("```python\n")[1].split("```")[0]
    folder = tmp_path / "demo-lift" / "after"
    folder.mkdir(parents=True)
    for name, text in SITE.items():
        (folder / name).write_text(text, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    names: dict[str, Any] = {}
    exec(code, names)
    assert "safeframe" not in code.replace("safeframe-canonical/", "")
    texts = [*SITE.values(), *demo.before().values()]
    texts += (text for variant in demo.variants() for text in variant.site.values())
    for example in examples().values():
        maps = example.good | example.bad
        texts += (
            text
            for name, text in maps.items()
            if name.endswith(".toml") and not name.endswith("plant.toml")
        )
    floats = '{ at = "1.0", name = "f", width = 32, type = "float", safe = -0.0 },'
    texts.append(SITE["sc1-lx.toml"].replace('{ at = "1.3", reserved = 5 },', floats))
    texts = plain = [*dict.fromkeys(texts)]
    for old, new in (
        ('unit = "mm"', 'unit = "10² mm"'),
        ('unit = "mm"', 'unit = "\u00b5m"'),
        ('edition = "2010"', 'edition = "2010²"'),
        ("connection = { ", 'connection = { network = "½", '),
        ('one_means = "', 'one_means = "OVER 5 MW at 10 mW, Maße, J\u030c '),
        ('0 = "', '0 = "5 MNm 3 mm 4 KV '),
    ):
        changed = [text.replace(old, new) for text in plain if old in text]
        assert changed
        texts = texts + changed
    assert len(texts) > 200
    seen = set()
    for text in texts:
        end = mapfile.loads(text)
        seen.add(wire_document(end)["format"])
        assert names["wire_fingerprint"](text) == wire_fingerprint(end)
    assert seen == {"safeframe-canonical/2", "safeframe-canonical/3"}


def test_plain_data_of_what_is_nearly_plain() -> None:
    class Word(str):
        __slots__ = ()

    found = {"a": (Word("x"), None, 1.5, True), "b": Place(1, 2), "c": b"\x00\xff"}
    assert plain(found) == {"a": ["x", None, 1.5, True], "b": "1.2", "c": "00ff"}


def test_an_end_that_is_its_own_peer_has_one_order_of_directions() -> None:
    end = mapfile.loads(demo.after()["sc1-lx.toml"])
    alone = replace(end, peer=end.name)
    turned = replace(alone, sends=alone.receives, receives=alone.sends)
    assert alone.sends != alone.receives
    assert wire_fingerprint(alone) == wire_fingerprint(turned)


def test_two_signals_of_one_place_have_one_order() -> None:
    """MUST: the order of rows is in no fingerprint, where signals overlap either."""
    end = mapfile.loads(demo.after()["sc1-lx.toml"])
    a, b, c = (Signal(name=name, at=Place(0, bit)) for name, bit in (("a", 0), ("b", 0), ("c", 1)))
    for more in ((), (c,)):
        one, two = (replace(end, sends=Map(entries=(*rows, *more))) for rows in ((a, b), (b, a)))
        assert prints(one) == prints(two)
