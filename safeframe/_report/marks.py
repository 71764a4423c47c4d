"""What a written page or picture carries at its beginning: who wrote it, and what it may do.

The mark tells a later run that it may replace the file. The policy of a page allows nothing but
the styles that stand in it, by their SHA-256 (Content Security Policy Level 3, from memory), so a
text that slipped through as markup would still load, run and style nothing.
"""

from __future__ import annotations

import base64
import hashlib
import html
import re

from .._document.output import OutputKind

_CHARSET = '<meta charset="utf-8">'
_STYLES = re.compile(r"<style[^>]*>(.*?)</style>|\sstyle=\"([^\"]*)\"", re.DOTALL)
_SVG = re.compile(r"<svg\b[^>]*>")


def page(command: str) -> OutputKind:
    """Return the kind of the HTML pages of a command."""
    return OutputKind(
        f"page of {command}", (b"<!DOCTYPE html>", b"<!doctype html>"), _generator(command)
    )


def picture(command: str) -> OutputKind:
    """Return the kind of the SVG pictures of a command."""
    holds = f"<metadata>safeframe {command}</metadata>".encode()
    return OutputKind(f"picture of {command}", (b"<?xml", b"<svg"), holds)


def text(command: str) -> OutputKind:
    """Return the kind of the Markdown texts of a command."""
    mark = f"<!-- safeframe {command} -->".encode()
    return OutputKind(f"Markdown of {command}", (mark,), mark)


def _generator(command: str) -> bytes:
    return f'<meta name="generator" content="safeframe {command}">'.encode()


def marked(kind: OutputKind, words: str) -> str:
    """Return a page, a picture or a text with the mark of its kind, a page with its policy too."""
    mark = kind.holds.decode()
    if mark.startswith("<meta "):
        # The policy comes first: it holds for what follows it.
        policy = "" if "Content-Security-Policy" in words else f"\n{_policy(words)}"
        return words.replace(_CHARSET, f"{_CHARSET}{policy}\n{mark}", 1)
    if mark.startswith("<metadata"):
        return _SVG.sub(lambda found: f"{found[0]}{mark}", words, count=1)
    return f"{mark}\n{words}"


def _policy(words: str) -> str:
    hashes: dict[str, None] = {}
    for block, attribute in _STYLES.findall(words):
        style = block or html.unescape(attribute)
        digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
        hashes.setdefault(f"'sha256-{digest}'")
    own = " ".join(["'unsafe-hashes'", *hashes]) if hashes else "'none'"
    return (
        '<meta http-equiv="Content-Security-Policy" '
        f"content=\"default-src 'none'; style-src {own}; base-uri 'none'; form-action 'none'\">"
    )
