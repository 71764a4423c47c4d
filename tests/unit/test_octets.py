"""Octets as people paste them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from safeframe._errors import UsageError
from safeframe._octets import octets_of

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

    def test_long_texts_are_cut(self) -> None:
        with pytest.raises(UsageError, match=r"not 'z{37}\.\.\.'$"):
            octets_of("z" * 50)
