"""Which characters the octets of a file are: what it declares, held against what it holds."""

from __future__ import annotations

import codecs
import re

from ._refusals import Refusals

ENCODINGS = ("utf-8", "utf-16", "iso-8859-1", "windows-1252")
"""What ``--encoding`` may name."""

_MARKS = (
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
_DECLARED = re.compile(
    rb"\s*<\?xml\s[^>]{0,200}?encoding\s*=\s*[\"']([A-Za-z][A-Za-z0-9._-]{0,40})[\"']"
)
_ONE_OCTET = ("iso8859-1", "cp1252", "ascii")
_WIDE = {b"<\0": "utf-16-le", b"\0<": "utf-16-be"}
"""UTF-16 without a mark, by the first character of every XML text."""
_REMEDY = f"state what it really is: --encoding {'|'.join(ENCODINGS)}"


def bom_of(octets: bytes) -> str:
    """Return the encoding that a byte order mark tells, empty without one."""
    return next((name for mark, name in _MARKS if octets.startswith(mark)), "")


def text_of(octets: bytes, encoding: str, refusals: Refusals) -> str:
    r"""Decode by the byte order mark, by ``encoding``, else as UTF-8; line ends become ``\\n``."""
    mark = bom_of(octets)
    named = encoding or mark or "utf-8"
    if encoding and mark and codecs.lookup(encoding) != codecs.lookup(mark):
        refusals.stop(
            "bad-encoding",
            1,
            f"the text must be {encoding} as stated, but its byte order mark says {mark}",
            f"--encoding {mark}" if mark in ENCODINGS else "save it as UTF-8",
        )
    text = decode(octets, named, refusals)
    if "\0" in text:
        line = text.count("\n", 0, text.index("\0")) + 1
        refusals.stop("bad-encoding", line, "the text must hold no NUL character", _REMEDY)
    return text.replace("\r\n", "\n").replace("\r", "\n")


def decode(octets: bytes, encoding: str, refusals: Refusals) -> str:
    """Decode all octets or refuse with the line of the first that is none of this encoding."""
    named = "utf-8-sig" if codecs.lookup(encoding).name == "utf-8" else encoding
    if codecs.lookup(encoding).name == "utf-16" and bom_of(octets) != "utf-16":
        # Without a mark the codec would take the order of the machine; the texts begin with ASCII.
        named = "utf-16-be" if octets.startswith(b"\0") else "utf-16-le"
    try:
        return octets.decode(named)
    except UnicodeDecodeError as error:
        line = octets.count(b"\n", 0, error.start) + 1
        wrong = f"octet 0x{octets[error.start]:02X} at offset {error.start}"
        refusals.stop("bad-encoding", line, f"the text must be {encoding}, not {wrong}", _REMEDY)


def xml_octets(octets: bytes, encoding: str, refusals: Refusals) -> tuple[bytes, str | None]:
    """Return what the XML parser gets, and the encoding that overrides the declaration.

    Refuses a text that declares one encoding and holds another.
    """
    mark = bom_of(octets)
    if encoding:
        return text_of(octets, encoding, refusals).encode("utf-8"), "utf-8"
    wide = _WIDE.get(octets[:2], "")
    if wide:
        octets = decode(octets, wide, refusals).encode("utf-8")
    found = _DECLARED.match(octets.removeprefix(codecs.BOM_UTF8))
    declared = found[1].decode("ascii") if found else ""
    if wide:
        if _codec_name(declared) not in ("utf-16", wide):
            refusals.stop(
                "bad-encoding",
                1,
                f"the text must declare UTF-16, which it is without a byte order mark, not "
                f"{declared or 'nothing'}",
                "--encoding utf-16, or save it as UTF-8",
            )
        return octets, "utf-8"
    if mark == "utf-32":
        refusals.stop(
            "bad-encoding", 1, "the text must be UTF-8 or UTF-16, not UTF-32", "save it as UTF-8"
        )
    if mark == "utf-16":
        return octets, None  # The parser follows the mark and refuses another declaration.
    name = _codec_name(declared)
    if name in _ONE_OCTET and not octets.isascii() and _is_utf8(octets):
        refusals.stop(
            "bad-encoding",
            1,
            f"the text declares {declared}, but its octets above 0x7F are UTF-8",
            f"--encoding utf-8, or --encoding {declared.lower()} if the declaration is right",
        )
    if name == "utf-8" and not octets.isascii():
        decode(octets, "utf-8", refusals)
    return octets, None


def _codec_name(declared: str) -> str:
    try:
        return codecs.lookup(declared or "utf-8").name
    except LookupError:
        return ""


def _is_utf8(octets: bytes) -> bool:
    try:
        octets.decode("utf-8")
    except UnicodeDecodeError:
        return False
    return True
