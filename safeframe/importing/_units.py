"""The words of sheets for octets, bits and wider units: what decides how a number is read."""

from __future__ import annotations


def _words(text: str) -> frozenset[str]:
    return frozenset(text.split())


OCTETS = _words(
    "octet octets byte bytes oktett oktette octeto octette ottetto bajt bayt バイト 字节 байт"
)
"""Words for an octet, in small letters."""
BITS = _words("bit bits bite ビット 位 бит")
"""Words for a bit."""
NUMBERS = _words("number no nr num index numéro número numer lfd")
"""Words for a running number."""
ADDRESSES = {
    **dict.fromkeys(_words("i e ix ex"), "inputs"),
    **dict.fromkeys(_words("q a qx ax"), "outputs"),
    **dict.fromkeys(_words("m mx"), "markers"),
}
"""Letters before octet and bit in the address of an input, an output or a marker: I0.7."""
WIDER = _words(
    "word words dword dwords lword lwords qword qwords halfword halfwords doubleword doublewords "
    "wort worte wörter doppelwort doppelworte doppelwörter langwort register registers mot mots "
    "palabra palabras parola parole"
)
"""Words for units of 16 bits and more: which octet of them comes first, no sheet tells by them."""
