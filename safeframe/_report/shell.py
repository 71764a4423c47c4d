"""The frame of an HTML page: one file, no script, nothing external, for screen, print and dark."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Sequence
from hashlib import sha256
from html import escape

from .text import clean

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
.verdict { border-left: 6px solid var(--ink); padding: .3rem .9rem; margin: .5rem 0 }
.verdict > p:first-child { font-weight: bold }
.wide { overflow-x: auto; margin: .6rem 0 }
.wide table { margin: 0 }
table { border-collapse: collapse; font-size: .92rem }
dl { display: grid; grid-template-columns: minmax(6rem, max-content) 1fr; gap: .2rem 1rem;
  max-width: 60rem; margin: .6rem 0; font-size: .92rem }
dt { color: var(--soft) }
dd { margin: 0; min-width: 0; overflow-wrap: anywhere }
pre { margin: 0; font: .85rem/1.4 "DejaVu Sans Mono", Consolas, monospace }
caption { text-align: left; font-weight: bold; padding: .2rem 0 }
th, td { text-align: left; vertical-align: top; padding: .25rem .8rem .25rem .5rem;
  border-bottom: 1px solid var(--line); overflow-wrap: break-word }
thead th { background: var(--tint); border-bottom: 2px solid var(--ink) }
code { font: .9em "DejaVu Sans Mono", Consolas, monospace; overflow-wrap: anywhere }
code span { margin-right: .35em }
code.line { white-space: nowrap }
tr.strong { font-weight: bold }
tr.strong > :first-child { border-left: 3px solid var(--ink) }
tr.error > :first-child { border-left: 3px solid var(--ink) }
td.pen { height: 2.4rem; min-width: 8rem; border: 1px solid var(--ink) }
.todo { color: var(--soft); font-style: italic }
.remedy { background: var(--tint); padding: .5rem .9rem }
figure { margin: 1rem 0 }
.pair { display: flex; flex-wrap: wrap; gap: 1.5rem }
.pair > div { flex: 1 1 40rem; min-width: 0; max-width: 62rem; margin: 0 }
.pair svg { display: block; width: 100%; min-width: 46rem; height: auto }
.drawing svg { display: block; min-width: 46rem; max-width: 100%; height: auto }
h1, h2, h3, h4, p, li, summary, figcaption { overflow-wrap: anywhere }
figcaption, footer { color: var(--soft); font-size: .92rem }
footer { margin-top: 3rem; border-top: 1px solid var(--line) }
summary { cursor: pointer; padding: .2rem 0 }
@media print {
  @page { margin: 14mm }
  body { font-size: 9pt; padding: 0; max-width: none }
  h1 { font-size: 15pt }
  h2 { font-size: 12pt; margin-top: 1.4rem }
  table { font-size: 8.5pt }
  th, td { padding: 2pt 5pt }
  .skip, nav { display: none }
  section, figure, .pair, tr, .verdict, .short { break-inside: avoid }
  section.long { break-inside: auto }
  h2, h3, caption { break-after: avoid }
  p { orphans: 3; widows: 3 }
  tbody tr:first-child { break-before: avoid }
  thead { display: table-header-group }
  footer { break-before: avoid; margin-top: 1rem }
  figcaption, footer { font-size: 8.5pt }
  details::details-content { content-visibility: visible; display: block; height: auto }
  .wide { overflow: visible }
  tbody th, td:last-child { overflow-wrap: anywhere }
  .pair { display: block }
  .pair > div { max-width: none }
  .pair svg, .drawing svg { min-width: 0; width: 100%; margin-bottom: 5mm; break-inside: avoid }
}
@media screen and (max-width: 40rem) {
  body { padding: .5rem .6rem 2rem }
  th, td { padding: .2rem .5rem .2rem .2rem }
  dl { grid-template-columns: 1fr; gap: 0 }
  dd { margin: 0 0 .4rem .8rem }
}
"""


def text(words: str) -> str:
    """Return clean text, escaped for an element or a quoted attribute."""
    return escape(clean(words))


def page(
    title: str,
    verdict: str,
    contents: Sequence[tuple[str, str]],
    body: str,
    *,
    footer: Sequence[str],
    style: str = "",
) -> str:
    """Return a page; ``contents`` are (id, title) of its sections, ``style`` adds to its sheet.

    The page names the digest of its own style sheet and allows nothing else: no script, no
    picture, no font, no frame and no form, from wherever it may be.
    """
    sheet = f"\n{_STYLE}{style}"
    digest = b64encode(sha256(sheet.encode()).digest()).decode()
    policy = f"default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'"
    links = "".join(f'<li><a href="#{name}">{text(words)}</a></li>' for name, words in contents)
    many = len(contents) > 1
    nav = f'<nav aria-label="Contents"><ul>{links}</ul></nav>' if many else ""
    foot = "".join(f"<p>{text(line)}</p>" for line in footer)
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head><meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{text(title)}</title>\n<style>{sheet}</style></head>\n"
        '<body><a class="skip" href="#main">Skip to the content</a>\n'
        f"<header><h1>{text(title)}</h1>{verdict}{nav}</header>\n"
        f'<main id="main">\n{body}\n</main>\n<footer>{foot}</footer>\n</body></html>\n'
    )
