"""Profiles: data of the package, sizes, and the strict reader of a user's own file."""

from __future__ import annotations

import contextlib
import json
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st

from safeframe import protocols as profiles
from safeframe._errors import InputError, UsageError
from safeframe.crc import Algorithm
from safeframe.protocols import Profile, SizeRange
from safeframe.protocols import _facts_file as reading

ALL = [profiles.load(name) for name in profiles.names()]
PACKAGE = Path(profiles.__file__).parents[1]
by_name = pytest.mark.parametrize("profile", ALL, ids=lambda profile: profile.name)

HEAD = 'format = "safeframe-profile/1"\nname = "lift"\ntitle = "Lift"\n'


def problems(text: str) -> list[str]:
    with pytest.raises(InputError) as caught:
        profiles.loads(text, path="own.toml")
    return [str(problem) for problem in caught.value.problems]


class TestPackageData:
    def test_names(self) -> None:
        assert profiles.names() == (
            "plain",
            "fscp-12-1",
            "fscp-13-1",
            "fscp-2-1",
            "fscp-3-1",
            "en50325-5",
            "opcua-safety",
        )

    @by_name
    def test_every_file_carries_its_own_name(self, profile: Profile) -> None:
        assert profiles.load(profile.name) is profile

    @by_name
    def test_file_fits_the_schema(self, profile: Profile) -> None:
        """The schema for editors and the strict reader know the same keys."""
        schema = json.loads((PACKAGE / "schemas" / "profile.schema.json").read_text())
        validator = jsonschema.Draft202012Validator(schema)
        text = (PACKAGE / "protocols" / profile.name.replace("-", "_") / "facts.toml").read_text(
            encoding="utf-8"
        )
        validator.validate(tomllib.loads(text))
        assert set(schema["properties"]) == set(reading.FIELDS)
        assert not validator.is_valid(tomllib.loads(text) | {"nam": "x"})

    @by_name
    def test_every_fact_of_a_frame_has_a_listed_source(self, profile: Profile) -> None:
        tags = {source.tag for source in profile.sources}
        for kind in profile.frames:
            for part in kind.parts:
                assert part.source, (kind.name, part.name)
                assert set(part.source.split()) <= tags
        for use in profile.crcs:
            assert use.source
            assert set(use.source.split()) <= tags

    @by_name
    def test_every_source_is_used(self, profile: Profile) -> None:
        used = {
            tag
            for source in (
                *(part.source for kind in profile.frames for part in kind.parts),
                *(use.source for use in profile.crcs),
                *(rule.source for rule in profile.parameters),
            )
            for tag in source.split()
        }
        prose = " ".join((*profile.notes, *profile.not_offered))
        for source in profile.sources:
            quoted = re.search(rf"\([^)]*\b{source.tag}\b[^)]*\)", prose)
            assert source.tag in used or quoted, source.tag

    @by_name
    def test_what_is_not_offered_is_said(self, profile: Profile) -> None:
        assert profile.not_offered
        # The pages show what and why in two columns.
        assert all(": " in text for text in profile.not_offered)
        assert profile.recipe is (profile.name != "plain")

    @pytest.mark.parametrize(
        ("name", "text"),
        [
            ("plain", "any size (the map states none)"),
            ("fscp-12-1", "1 octet or 2, 4, 6 ... octets"),
            (
                "fscp-13-1",
                "0..8 octets (CRCs of 8 bits) or 9..254 octets (CRCs of 16 bits)",
            ),
            (
                "fscp-2-1",
                "1..2 octets (short: data once) or 3..250 octets (long: data and their complement)",
            ),
            ("fscp-3-1", "0..12 octets (CRC of 24 bits)"),
            ("opcua-safety", "1..1500 octets (a device may support less)"),
        ],
    )
    def test_sizes_as_text(self, name: str, text: str) -> None:
        assert profiles.load(name).sizes.describe() == text

    def test_limits_of_fscp_12_1(self) -> None:
        profile = profiles.load("fscp-12-1")
        assert profile.block_octets == 2
        assert profile.id_range == (1, 65535)
        assert profile.address_range == (0, 65535)
        assert profile.watchdog_range_ms == (1, 65535)
        assert profile.roles == ("master", "slave")
        assert profile.editions == ("2010", "2010+A1:2019")
        assert profile.fail_safe == "zero"
        assert any("Address 0" in note for note in profile.notes)

    def test_unknown_name(self) -> None:
        with pytest.raises(UsageError, match=r"not 'fscp-12'; did you mean fscp-12-1\?"):
            profiles.load("fscp-12")
        with pytest.raises(UsageError, match=r"opcua-safety, not '\?'$"):
            profiles.load("?")


class TestSizes:
    """Legal sizes of FSCP 12/1 are 1 and the even numbers from 2 on."""

    sizes = profiles.load("fscp-12-1").sizes

    @given(st.integers(-3, 70000))
    def test_legal_is_one_or_even(self, octets: int) -> None:
        """A size is legal when it is 1 or an even number above 0."""
        assert self.sizes.is_legal(octets) is (octets == 1 or (octets > 0 and octets % 2 == 0))

    @given(st.sampled_from(ALL), st.integers(0, 2000), st.integers(0, 5))
    def test_next_legal_are_the_nearest_legal_ones(
        self, profile: Profile, octets: int, count: int
    ) -> None:
        """next_legal gives exactly the first legal sizes at or above the one asked for."""
        found = profile.sizes.next_legal(octets, count)
        last = profile.sizes.ranges[-1].last if profile.sizes.ranges else -1
        top = octets + 2 * count + 2 if last is None else last
        expected = [n for n in range(octets, top + 1) if profile.sizes.range_of(n)][:count]
        assert list(found) == expected

    def test_next_legal_default_is_three(self) -> None:
        assert self.sizes.next_legal(0) == (1, 2, 4)
        assert self.sizes.next_legal(5) == (6, 8, 10)

    def test_a_map_narrows(self) -> None:
        assert self.sizes.is_legal(4, (4, 5))
        assert not self.sizes.is_legal(5, (4, 5))
        assert not self.sizes.is_legal(6, (4, 5))
        assert self.sizes.next_legal(2, 3, (8, 5, 4, 8)) == (4, 8)
        assert self.sizes.describe((8, 4)) == "4, 8 octets (from the map)"
        # A size that the map alone calls legal is none: the text must not say that it is.
        assert self.sizes.describe((4, 3)) == (
            "3, 4 octets (from the map) as far as the profile has them: "
            "1 octet or 2, 4, 6 ... octets"
        )

    def test_plain_leaves_sizes_to_the_map(self) -> None:
        plain = profiles.load("plain").sizes
        assert plain.from_map
        assert plain.is_legal(3)
        assert not plain.is_legal(3, (4, 8))
        assert plain.next_legal(3) == ()
        assert plain.next_legal(3, legal_from_map=(4, 2, 8)) == (4, 8)

    def test_range_of_names_the_payload_class(self) -> None:
        found = profiles.load("fscp-13-1").sizes.range_of(9)
        assert found is not None
        assert found.label == "CRCs of 16 bits"

    def test_ranges_as_text(self) -> None:
        assert str(SizeRange(first=3, last=None)) == "3 or more octets"
        assert str(SizeRange(first=4, last=12, step=4)) == "4, 8, 12 ... 12 octets"


FULL: dict[str, Any] = {
    "format": "safeframe-profile/1",
    "name": "lift",
    "title": "Lift",
    "summary": "s",
    "editions": ["1"],
    "roles": ["a"],
    "block_octets": 1,
    "id_range": [0, 0],
    "address_range": [0, 1],
    "watchdog_range_ms": [0, 1],
    "watchdog_sealed": True,
    "fail_safe": "zero",
    "one_way": True,
    "data_role": "a",
    "answering_role": "a",
    "notes": ["n"],
    "not_offered": ["n"],
    "recipe": False,
    "sizes": [{"first": 0, "last": 0, "step": 1, "label": "l"}],
    "member_types": [{"type": "uint", "width": 1}],
    "parameters": [
        {
            "name": "p",
            "type": "int",
            "minimum": -1,
            "maximum": 1,
            "choices": [0],
            "unset": 0,
            "unit": "u",
            "roles": ["a"],
            "shared": True,
            "required": True,
            "note": "n",
            "source": "A",
        }
    ],
    "frames": [
        {
            "name": "f",
            "title": "t",
            "size": "n",
            "when": "w",
            "repeat": ["r"],
            "parts": [{"name": "p", "octets": "1", "meaning": "m", "source": "A"}],
        }
    ],
    "reactions": [
        {"edition": "1", "watchdogs": 0, "consumer_cycles": 0, "why": "w", "stated_in": "s"}
    ],
    "crcs": [
        {
            "name": "c",
            "covers": ["x"],
            "carried": "y",
            "note": "n",
            "source": "A",
            "algorithm": {
                "name": "own",
                "width": 8,
                "poly": 1,
                "init": 0,
                "refin": False,
                "refout": False,
                "xorout": 0,
                "check": 49,
                "residue": 0,
                "source": "",
            },
        }
    ],
    "tested": [{"what": "data", "octets": 1, "stated_in": "s"}],
    "proofs": [{"what": "w", "how": "published", "by": "b"}],
    "sources": [{"tag": "A", "text": "t", "confidence": "memory"}],
}
"""Every key of a profile file, numbers at their least; the check value follows from others."""


def toml(value: Any) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key} = {toml(item)}" for key, item in value.items()) + "}"
    if isinstance(value, list):
        return f"[{', '.join(map(toml, value))}]"
    return json.dumps(value)


def tables(value: Any) -> Iterator[dict[str, Any]]:
    """Yield every table inside a value, itself first."""
    if isinstance(value, dict):
        yield value
    for item in value.values() if isinstance(value, dict) else value:
        if isinstance(item, dict | list):
            yield from tables(item)


class TestSchema:
    """The schema for editors and the strict reader accept the same files."""

    validator = jsonschema.Draft202012Validator(
        json.loads((PACKAGE / "schemas" / "profile.schema.json").read_text())
    )

    def reads(self, document: dict[str, Any]) -> bool:
        try:
            profiles.loads("".join(f"{key} = {toml(item)}\n" for key, item in document.items()))
        except InputError:
            return False
        return True

    def test_the_full_file(self) -> None:
        assert set(FULL) == set(reading.FIELDS)
        self.validator.validate(FULL)
        assert self.reads(FULL)

    def test_every_key_left_out_in_turn(self) -> None:
        """A key is required by the reader exactly where the schema requires it."""
        places = [(at, key) for at, table in enumerate(tables(FULL)) for key in table]
        outcomes = []
        for at, key in places:
            document = json.loads(json.dumps(FULL))
            del list(tables(document))[at][key]
            if key == "sources":
                continue  # the tags of the sources must be listed, which no schema can say.
            if at == 0 and key in ("roles", "one_way"):
                continue  # nor can it say that the roles named elsewhere must be listed.
            outcomes.append(self.reads(document))
            assert self.reads(document) is self.validator.is_valid(document), key
        assert outcomes.count(False) == 36

    def test_every_number_lowered_in_turn(self) -> None:
        """A number has the same least value for the reader and the schema."""
        for at, table in enumerate(tables(FULL)):
            for key, value in table.items():
                if isinstance(value, int) and not isinstance(value, bool) and key != "width":
                    document = json.loads(json.dumps(FULL))
                    list(tables(document))[at][key] = value - 1
                    if key in ("init", "xorout", "check", "residue"):
                        assert not self.reads(document), key
                    else:
                        assert self.reads(document) is self.validator.is_valid(document), key


class TestContradictions:
    """Keys of a profile that contradict each other MUST be refused: they would judge nothing."""

    def told(self, text: str) -> list[str]:
        return [line.partition(": ")[2] for line in problems(HEAD + text)]

    def parameter(self, rules: str) -> list[str]:
        return self.told(f'parameters = [{{ name = "p", {rules} }}]')

    @pytest.mark.parametrize("key", ["data_role", "answering_role"])
    def test_a_role_that_no_end_can_have(self, key: str) -> None:
        text = f'roles = ["leader"]\none_way = true\n{key} = "leadr"'
        assert self.told(text) == [f"{key}: {key} must be one of roles, not 'leadr'"]
        assert profiles.loads(HEAD + text.replace("leadr", "leader")).one_way

    def test_a_data_role_where_data_go_both_ways(self) -> None:
        assert self.told('roles = ["leader"]\ndata_role = "leader"') == [
            "data_role: data_role must go with one_way = true"
        ]

    def test_a_parameter_of_a_role_that_no_end_can_have(self) -> None:
        rules = 'parameters = [{ name = "p", type = "int", roles = ["leadr"] }]'
        assert self.told(f'roles = ["leader"]\n{rules}') == [
            "parameters[0].roles: an entry of roles must be one of the profile's, not 'leadr'"
        ]
        assert profiles.loads(HEAD + rules).parameters[0].roles == ("leadr",)

    def test_what_stands_twice(self) -> None:
        twice = '{ name = "p", type = "int" }, { name = "p", type = "int", shared = true }'
        assert self.told(f"parameters = [{twice}]") == [
            "parameters[1].name: name must stand once, not 'p' again"
        ]
        share = '{ edition = "1", watchdogs = 1, consumer_cycles = 0, why = "w", stated_in = "s" }'
        assert self.told(f"reactions = [{share}, {share}]") == [
            "reactions[1].edition: edition must stand once, not '1' again"
        ]
        most = '{ what = "data", octets = 4, stated_in = "s" }'
        assert self.told(f"tested = [{most}, {most}]") == [
            "tested[1].what: what must stand once, not 'data' again"
        ]
        source = '{ tag = "A", text = "t", confidence = "memory" }'
        assert self.told(f"sources = [{source}, {source}]") == [
            "sources[1].tag: tag must stand once, not 'A' again"
        ]

    @pytest.mark.parametrize("word", ["", "\\n", "\\u001B[2J"])
    def test_names_that_nobody_can_state(self, word: str) -> None:
        for key, where in (
            ('editions = ["WORD"]', "editions[0]: an entry of editions must be"),
            ('roles = ["WORD"]', "roles[0]: an entry of roles must be"),
            ('parameters = [{ name = "WORD", type = "int" }]', "parameters[0].name: name must be"),
        ):
            assert self.told(key.replace("WORD", word))[0].startswith(where)

    @pytest.mark.parametrize(("type_", "width"), [("bool", 8), ("float", 8), ("float", 24)])
    def test_members_that_no_signal_can_be(self, type_: str, width: int) -> None:
        assert self.told(f'member_types = [{{ type = "{type_}", width = {width} }}]') == [
            f"member_types[0]: width must be one that a signal of type {type_} can have, not "
            f"{width}"
        ]

    @pytest.mark.parametrize(
        ("type_", "bound", "types"),
        [
            *(
                (type_, bound, "int or hex")
                for type_ in ("text", "guid", "bool")
                for bound in ("minimum = 1", "maximum = 0")
            ),
            *((type_, "choices = [1]", "int") for type_ in ("text", "guid", "hex", "bool")),
        ],
    )
    def test_bounds_of_what_has_none(self, type_: str, bound: str, types: str) -> None:
        key = bound.partition(" ")[0]
        assert self.parameter(f'type = "{type_}", {bound}') == [
            f"parameters[0].{key}: {key} must go with the type {types}, not {type_}"
        ]

    def test_bounds_that_exclude_each_other(self) -> None:
        assert self.parameter('type = "int", minimum = 9, maximum = 8') == [
            "parameters[0].maximum: maximum must be at least 9, not 8"
        ]
        assert self.parameter('type = "int", minimum = 2, maximum = 8, choices = [1, 2, 8, 9]') == [
            "parameters[0].choices: choices must lie within minimum and maximum, not 1",
            "parameters[0].choices: choices must lie within minimum and maximum, not 9",
        ]

    def test_unset_of_another_type(self) -> None:
        assert self.parameter('type = "int", unset = "0"') == [
            "parameters[0].unset: unset must be of the type int, not '0'"
        ]
        assert self.parameter('type = "hex", unset = 0') == [
            "parameters[0].unset: unset must be of the type hex, not 0"
        ]
        assert self.parameter('type = "bool", unset = "false"') == [
            "parameters[0].unset: unset must be of the type bool, not 'false'"
        ]

    @pytest.mark.parametrize("what", ["dta", "p"])
    def test_a_tested_size_of_nothing(self, what: str) -> None:
        rules = 'parameters = [{ name = "p", type = "int" }, { name = "h", type = "hex" }]\n'
        tested = 'tested = [{ what = "WHAT", octets = 1, stated_in = "s" }]'
        assert self.told(rules + tested.replace("WHAT", what)) == [
            f"tested[0].what: what must be data or a parameter of the type hex, not '{what}'"
        ]
        for right in ("data", "h"):
            assert profiles.loads(HEAD + rules + tested.replace("WHAT", right)).tested


class TestOwnFile:
    def test_a_small_profile(self, tmp_path: Path) -> None:
        file = tmp_path / "own.toml"
        file.write_text(
            HEAD
            + 'editions = ["1"]\nid_range = [1, 9]\nsizes = [{ first = 4, last = 12, step = 4 }]\n'
            + 'member_types = [{ type = "uint", width = 8 }]\n'
            + '[[parameters]]\nname = "hall"\ntype = "int"\nminimum = 0\nunset = 0\nshared = true\n'
            + '[[crcs]]\nname = "crc"\ncovers = ["data"]\ncarried = "low octet first"\n'
            + 'algorithm = { name = "own", width = 8, poly = 0x07, refin = false }\n',
            encoding="utf-8",
        )
        profile = profiles.load_file(file)
        assert profile.sizes.next_legal(5) == (8, 12)
        assert profile.member_types == (("uint", 8),)
        assert profile.parameters[0].shared
        assert profile.crcs[0].algorithm == Algorithm(name="own", width=8, poly=7)
        assert profile.id_range == (1, 9)
        assert not profile.recipe

    def test_unreadable(self, tmp_path: Path) -> None:
        with pytest.raises(
            InputError, match=r"none\.toml: the file must be readable: No such file"
        ):
            profiles.load_file(tmp_path / "none.toml")
        (tmp_path / "latin.toml").write_bytes(b'name = "\xe9"')
        with pytest.raises(
            InputError,
            match=r"latin\.toml:1: a profile must be UTF-8 text, not octet 0xe9 at offset 8",
        ):
            profiles.load_file(str(tmp_path / "latin.toml"))

    def test_broken_toml(self) -> None:
        assert problems('format = 1\nname "x"\n') == [
            "own.toml:2: the text must be valid TOML at column 6: Expected '=' after a key in a "
            "key/value pair"
        ]
        assert problems("format = [\n") == [
            "own.toml:1: the text must be valid TOML: Invalid value"
        ]

    def test_unknown_and_missing_keys_at_once(self) -> None:
        text = 'format = "safeframe-profile/1"\nnam = "x"\nzzz = 1\n'
        assert [text.partition(" (known")[0] for text in problems(text)] == [
            "own.toml:2: nam: a key must be one that a profile knows, not 'nam' "
            "(did you mean name?)",
            "own.toml:3: zzz: a key must be one that a profile knows, not 'zzz'",
            "own.toml: name: name must be stated",
            "own.toml: title: title must be stated",
        ]

    @pytest.mark.parametrize(
        ("line", "expected"),
        [
            ("summary = 1", "4: summary: summary must be a text, not 1"),
            ("recipe = 1", "4: recipe: recipe must be true or false, not 1"),
            ("block_octets = true", "4: block_octets: block_octets must be an integer, not true"),
            ("block_octets = 0", "4: block_octets: block_octets must be at least 1, not 0"),
            ("roles = 1", "4: roles: roles must be an array, not 1"),
            ('fail_safe = "one"', "4: fail_safe: fail_safe must be one of zero, not 'one'"),
            (
                "id_range = [2, 1]",
                "4: id_range: id_range must be [first, last] in rising order, both integers from "
                "0, not [2, 1]",
            ),
            ("sizes = [1]", "4: sizes[0]: an entry of sizes must be a table, not 1"),
            (
                "sizes = [{ first = 2, step = 2, last = 5 }]",
                "4: sizes[0]: last must be first plus a multiple of step, not 5",
            ),
            (
                "sizes = [{ first = 2 }, { first = 9 }]",
                "4: sizes: the ranges must rise and not overlap, "
                "not 2 or more octets before 9 or more octets",
            ),
            (
                '[[parameters]]\nname = "a"\ntype = "int"\nunset = true\n',
                "7: parameters[0].unset: unset must be an integer or a text, not true",
            ),
            (
                '[[parameters]]\nname = "a"\ntype = "int"\n\n[[parameters]]\nname = "b"\n'
                'type = "int"\nsource = "Z"',
                "11: parameters[1].source: the tag Z must be one of [[sources]]",
            ),
            (
                '[[sources]]\ntag = "A"\ntext = "t"\nconfidence = "sure, quite sure indeed, yes!!"',
                "7: sources[0].confidence: confidence must be one of verified, two sources, "
                "one source, memory, common practice, not 'sure, quite sure indeed, yes!!'",
            ),
            (
                "name = 2000000000000000000000000000000000000000000",
                "4: the text must be valid TOML at column 51: Cannot overwrite a value "
                "(state every key and table once only)",
            ),
        ],
    )
    def test_wrong_values(self, line: str, expected: str) -> None:
        assert problems(f"{HEAD}{line}\n") == [f"own.toml:{expected}"]

    def test_figures_of_an_algorithm_are_recomputed(self) -> None:
        """What follows from other keys MUST be what follows from them."""
        own = 'name = "own", width = 16, poly = 0x1021, init = 0xFFFF'
        crc = '[[crcs]]\nname = "c"\ncovers = []\ncarried = ""\nalgorithm = { '
        right = f"{HEAD}{crc}{own}, check = 0x29B1, residue = 0 }}\n"
        assert profiles.loads(right).crcs[0].algorithm.check == 0x29B1
        assert problems(
            right.replace("0x29B1", "0x29B2").replace("residue = 0", "residue = 1")
        ) == [
            "own.toml:8: crcs[0].algorithm.check: check must be 0x29b1, as this algorithm has it, "
            "not 0x29b2",
            "own.toml:8: crcs[0].algorithm.residue: residue must be 0x0, as this algorithm has it, "
            "not 0x1",
        ]
        assert len(problems(right.replace("init = 0xFFFF", "init = 0"))) == 1
        assert len(problems(right.replace("init = 0xFFFF", "xorout = 1"))) == 2
        assert len(problems(right.replace("width = 16", "width = 7"))) == 1

    @pytest.mark.parametrize(
        ("algorithm", "expected"),
        [
            (
                '"crc-33"',
                "algorithm must be a catalogue name or a table, not 'crc-33' "
                "(did you mean crc-32?)",
            ),
            (
                "7",
                "algorithm must be a catalogue name or a table, not 7 "
                "(`safeframe crc --list` shows the names)",
            ),
            (
                '{ name = "x", width = 9, poly = 7 }',
                "a CRC width must be 8, 16, 24, 32 or 64 bits, not 9",
            ),
        ],
    )
    def test_wrong_algorithm(self, algorithm: str, expected: str) -> None:
        text = '[[crcs]]\nname = "c"\ncovers = []\ncarried = ""\nalgorithm = '
        assert problems(f"{HEAD}{text}{algorithm}\n") == [
            f"own.toml:8: crcs[0].algorithm: {expected}"
        ]

    @given(st.text(max_size=60) | st.text('[]{}=".,#\n 0123456789eE_-xab', max_size=60))
    def test_any_text_is_read_or_refused(self, text: str) -> None:
        """Reading raises InputError and nothing else."""
        with contextlib.suppress(InputError):
            profiles.loads(HEAD + text)

    @given(
        st.sampled_from(sorted(reading.FIELDS)),
        st.recursive(
            st.sampled_from(('"x"', "1", "-1", "true", "1.5", "inf", "2026-11-25", '"verified"')),
            lambda inner: (
                st.lists(inner, max_size=3).map(lambda row: f"[{', '.join(row)}]")
                | st.dictionaries(
                    st.sampled_from(
                        ("name", "first", "step", "last", "type", "width", "poly", "tag")
                    ),
                    inner,
                    max_size=3,
                ).map(lambda row: "{" + ", ".join(f"{k} = {v}" for k, v in row.items()) + "}")
            ),
            max_leaves=8,
        ),
    )
    def test_any_value_is_read_or_refused(self, key: str, value: str) -> None:
        """A value of any shape under a known key is read or refused, never a crash."""
        head = "".join(line for line in HEAD.splitlines(True) if not line.startswith(f"{key} ="))
        with contextlib.suppress(InputError):
            profiles.loads(f"{head}{key} = {value}\n")

    @pytest.mark.parametrize(
        ("line", "expected"),
        [
            (
                "roles = " + "[" * 50_000,
                "own.toml:4: arrays and tables must not be nested as deeply as here",
            ),
            ("roles = " + "9" * 5000, "own.toml:4: an integer must not have thousands of digits"),
            (
                ".".join(["a"] * 100_000) + " = 1",
                "own.toml:4: a dotted name must have at most 64 parts, not more",
            ),
            (
                f"block_octets = 0x{'f' * 100_000}",
                "own.toml:4: block_octets: block_octets must be an integer of at most 1024 bits, "
                "not an integer of 400000 bits",
            ),
        ],
    )
    def test_absurd_values(self, line: str, expected: str) -> None:
        assert problems(f"{HEAD}{line}\n") == [expected]

    def test_long_values_are_cut(self) -> None:
        assert problems(f'{HEAD}recipe = "{"x" * 60}"\n') == [
            f"own.toml:4: recipe: recipe must be true or false, not '{'x' * 40}'... (60 characters)"
        ]


@pytest.mark.parametrize("name", ["fscp_12_1", "opcua_safety"])
def test_a_room_is_opened_by_its_name(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delattr(profiles, name, raising=False)
    assert getattr(profiles, name).__name__ == f"safeframe.protocols.{name}"
    with pytest.raises(AttributeError, match=f"has no attribute '{name}_x'"):
        getattr(profiles, f"{name}_x")
