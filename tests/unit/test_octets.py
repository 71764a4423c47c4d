"""Octets as people paste them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from safeframe._errors import UsageError
from safeframe._octets import octets_of


def dumped(octets: bytes, digits: int, tail: str = "") -> str:
    """Return octets in lines of eight, each behind its offset."""
    return "\n".join(
        f"{at:0{digits}x}  {octets[at : at + 8].hex(' ')}{tail}" for at in range(0, len(octets), 8)
    )


FORMS = (
    lambda octets: octets.hex(),
    lambda octets: octets.hex(" ").upper(),
    lambda octets: octets.hex("-"),
    lambda octets: octets.hex(":"),
    lambda octets: octets.hex("_"),
    lambda octets: ",".join(f"0x{octet:02x}" for octet in octets),
    lambda octets: ", ".join(f"0x{octet:x}" for octet in octets) if len(octets) > 1 else "01",
    lambda octets: "".join(f"\\x{octet:02x}" for octet in octets),
    lambda octets: 'b"' + "".join(f"\\x{octet:02x}" for octet in octets) + '"',
    lambda octets: "uint8_t frame[] = {" + "".join(f"0x{octet:02X}, " for octet in octets) + "};",
    lambda octets: (
        "uint8_t frame[9] = { " + "".join(f"0x{octet:02X}U, " for octet in octets) + "};"
    ),
    lambda octets: ", ".join(f"16#{octet:02X}" for octet in octets),
    lambda octets: dumped(octets, 4) + f"\n{len(octets):04x}\n",
    lambda octets: dumped(octets, 8, tail="  |text.|") + f"\n{len(octets):08x}",
    lambda octets: octets.hex("\n"),
    lambda octets: "{ /* the frame */ " + "".join(f"0x{octet:02X}, " for octet in octets) + "}",
)


class TestForms:
    """Every form MUST give the octets that were written."""

    @given(octets=st.binary(min_size=1, max_size=40), form=st.sampled_from(FORMS))
    def test_round_trip(self, octets: bytes, form: object) -> None:
        assert callable(form)
        text = form(octets)
        assert octets_of(text) == (b"\x01" if text == "01" else octets)

    def test_no_octets(self) -> None:
        assert octets_of("") == octets_of(" \n") == b""

    @pytest.mark.parametrize(
        ("text", "why"),
        [
            ("0", ""),
            ("xy", ""),
            ("0x1", ""),
            ("0x01 02", ": every octet must have 0x or none"),
            ("0x0102, 0x03", ": 0x0102 is a word, and the order of its octets is not known"),
            ("{2, 0}", ": numbers of an array must have 0x, or they may be decimal"),
        ],
    )
    def test_refused(self, text: str, why: str) -> None:
        with pytest.raises(UsageError) as caught:
            octets_of(text)
        assert str(caught.value) == f"octets must be pairs of hex digits, not {text!r}{why}"

    def test_lines_behind_their_offsets(self) -> None:
        assert octets_of(dumped(bytes(range(20)), 4)) == bytes(range(20))
        assert octets_of("36 00\n0000 01") == bytes((0x36, 0, 0, 0, 1))

    @pytest.mark.parametrize(
        "text",
        [
            "3601 0001 02",
            "36010001 0203",
            "3601:0001:02",
            "3601",
            "3601  0001  02",
            "3601 0001\n02",
        ],
    )
    def test_words_of_one_length_hold_no_offset(self, text: str) -> None:
        assert octets_of(text).hex() == "".join(text.replace(":", " ").split())

    @pytest.mark.parametrize(
        ("text", "why"),
        [
            ("0000 36 01", "0000 may be an offset or octets: leave offsets out"),
            ("3601 00 01", "3601 may be an offset or octets: leave offsets out"),
            ("0000 36 01\n0003 02", "0003 may be an offset or octets: leave offsets out"),
            ("0000 36 01\n0002 61   ab", "0002 may be an offset or octets: leave offsets out"),
            ("0000: 3601 00", "0000 may be an offset or octets: leave offsets out"),
            ("00000000: 3601 00", "00000000 may be an offset or octets: leave offsets out"),
            ("00000000 3601 00", "00000000 may be an offset or octets: leave offsets out"),
            ("00000000  36010000 36010000", "may be an offset or octets: leave offsets out"),
            ("0000 36010000", "0000 may be an offset or octets: leave offsets out"),
            ("0000:3601\n0002:00", "0000 may be an offset or octets: leave offsets out"),
            ("0000 36 01\n0003", "the last offset is 3, and 2 octets stand before it"),
        ],
    )
    def test_what_only_may_be_an_offset(self, text: str, why: str) -> None:
        with pytest.raises(UsageError) as caught:
            octets_of(text)
        assert str(caught.value).endswith(why)

    def test_long_texts_are_cut(self) -> None:
        with pytest.raises(UsageError, match=r"not 'z{37}\.\.\.'$"):
            octets_of("z" * 50)
