"""The frame of an HTML page: one file, no script, nothing external, for screen, print and dark."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

from .svg import STYLE as _PICTURES
from .text import CAUTION, clean

__all__ = ["document", "fold", "paragraph", "section", "table", "text"]

_STYLE = """\
:root { color-scheme: light dark; --ink: #1b2430; --soft: #46505c; --paper: #fff; --line: #b9c2cb;
  --tint: #f0f3f6; --link: #0b4a7a }
@media (prefers-color-scheme: dark) { @media screen { :root { --ink: #e8edf2; --soft: #b4bec8;
  --paper: #14191f; --line: #4a5663; --tint: #1e262f; --link: #9cc8ee } } }
* { box-sizing: border-box }
body { font: 1rem/1.5 "DejaVu Sans", Verdana, Arial, sans-serif; color: var(--ink);
  background: var(--paper); margin: 0 auto; max-width: 110rem; padding: 1rem 1.5rem 3rem }
a { color: var(--link) }
a:focus-visible, summary:focus-visible, [tabindex]:focus-visible { outline: 3px solid var(--link);
  outline-offset: 2px }
.quiet { position: absolute; width: 1px; height: 1px; overflow: hidden; clip-path: inset(50%) }
.skip { position: absolute; left: -99rem }
.skip:focus { position: static }
h1 { font-size: 1.6rem; line-height: 1.25; margin: .5rem 0 }
h2 { font-size: 1.25rem; margin: 2.2rem 0 .5rem; padding-top: .6rem;
  border-top: 2px solid var(--ink) }
h3 { font-size: 1.05rem; margin: 1.4rem 0 .4rem }
p, ul, ol { max-width: 60rem; margin: .5rem 0 }
.verdict { border-left: 6px solid var(--ink); padding: .3rem .9rem; font-weight: bold }
.wide { overflow-x: auto; margin: .6rem 0 }
table { border-collapse: collapse; font-size: .92rem }
caption { text-align: left; font-weight: bold; padding: .2rem 0 }
th, td { text-align: left; vertical-align: top; padding: .25rem .8rem .25rem .5rem;
  border-bottom: 1px solid var(--line); overflow-wrap: break-word }
thead th { background: var(--tint); border-bottom: 2px solid var(--ink) }
code { font-family: "DejaVu Sans Mono", Consolas, monospace }
.remedy { background: var(--tint); padding: .5rem .9rem }
figure { margin: 1rem 0 }
.pair { display: flex; flex-wrap: wrap; gap: 1.5rem }
.pair svg { flex: 1 1 40rem; min-width: 0; max-width: 62rem; height: auto }
figcaption, footer { color: var(--soft); font-size: .92rem }
footer { margin-top: 3rem; border-top: 1px solid var(--line) }
summary { cursor: pointer; padding: .2rem 0 }
@media print {
  @page { margin: 14mm }
  body { font-size: 9pt; padding: 0; max-width: none }
  h1 { font-size: 15pt }
  h2 { font-size: 12pt; margin-top: 1.4rem }
  table { font-size: 8.5pt }
  .skip { display: none }
  section, figure, .pair, tr { break-inside: avoid }
  section.long { break-inside: auto }
  h2, h3, caption { break-after: avoid }
  thead { display: table-header-group }
  footer { break-before: avoid; margin-top: 1rem }
  figcaption, footer { font-size: 8.5pt }
  details::details-content { content-visibility: visible; display: block; height: auto }
  .wide { overflow: visible }
  tbody th, td:last-child { overflow-wrap: anywhere }
  .pair { display: block }
  .pair svg { display: block; width: 100%; margin-bottom: 5mm; break-inside: avoid }
}
"""


def text(words: str) -> str:
    """Return clean text, escaped for an element or a quoted attribute."""
    return escape(clean(words))


def paragraph(words: str, *, kind: str = "", label: str = "") -> str:
    """Return a paragraph of plain text, with a bold label before it."""
    strong = f"<strong>{text(label)}</strong> " if label else ""
    mark = f' class="{kind}"' if kind else ""
    return f"<p{mark}>{strong}{text(words)}</p>"


def table(
    caption: str, head: Sequence[str], rows: Iterable[Sequence[str]], *, quiet: bool = False
) -> str:
    """Return a table of plain text; the first cell of a row names it.

    ``quiet`` leaves the caption to those who hear the page, where a heading says the same.
    """
    columns = "".join(f'<th scope="col">{text(cell)}</th>' for cell in head)
    body = "".join(
        f'<tr><th scope="row">{text(row[0])}</th>'
        + "".join(f"<td>{text(cell)}</td>" for cell in row[1:])
        + "</tr>\n"
        for row in rows
    )
    mark = ' class="quiet"' if quiet else ""
    # A table may be wider than a narrow window; then the keyboard must be able to scroll it.
    return (
        f'<div class="wide" role="region" tabindex="0" aria-label="{text(caption)}"><table>'
        f"<caption{mark}>{text(caption)}</caption>"
        f"<thead><tr>{columns}</tr></thead>\n<tbody>{body}</tbody></table></div>"
    )


def fold(summary: str, inside: str) -> str:
    """Return something that a reader may open."""
    return f"<details><summary>{text(summary)}</summary>{inside}</details>"


def section(name: str, title: str, parts: Iterable[str], *, kind: str = "") -> str:
    """Return a section with an id and a heading."""
    mark = f' class="{kind}"' if kind else ""
    inside = "\n".join(parts)
    return (
        f'<section id="{name}" aria-labelledby="{name}-h"{mark}>'
        f'<h2 id="{name}-h">{text(title)}</h2>\n{inside}</section>'
    )


def document(title: str, verdict: str, contents: Sequence[tuple[str, str]], body: str) -> str:
    """Return a page; ``contents`` are (id, title) of its sections."""
    links = "".join(f'<li><a href="#{name}">{text(words)}</a></li>' for name, words in contents)
    nav = f'<nav aria-label="Contents"><ol>{links}</ol></nav>' if contents else ""
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head><meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{text(title)}</title>\n<style>\n{_STYLE}{_PICTURES}</style></head>\n"
        '<body><a class="skip" href="#main">Skip to the content</a>\n'
        f'<header><h1>{text(title)}</h1><p class="verdict">{text(verdict)}</p>{nav}</header>\n'
        f'<main id="main">\n{body}\n</main>\n<footer><p>{text(CAUTION)}</p></footer>\n'
        "</body></html>\n"
    )
