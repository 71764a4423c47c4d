"""``safeframe rules``: the list of rules, or the page of one."""

from __future__ import annotations

import argparse

from .. import _checks as checks
from .. import _demo as demo
from .._findings import SEVERITIES, Rule
from .._report.document import Document, Facts, Paragraph, Section, StyledText, Table, strong
from . import options

_EPILOG = """\
example:
  safeframe rules shifted-signals
"""


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.epilog = _EPILOG
    parser.add_argument("name", metavar="NAME", nargs="?", help="explain this rule")
    options.add_pages(parser)
    options.add_color(parser)


def run(args: argparse.Namespace) -> int:
    """Print the list or the page."""
    given = _list(checks.RULES) if args.name is None else _page(checks.find_rule(args.name))
    options.tell(args, given)
    return 0


def _list(rules: tuple[Rule, ...]) -> Document:
    parts = []
    for severity in SEVERITIES:
        chosen = tuple((rule.name, rule.title) for rule in rules if rule.severity == severity)
        title = StyledText(f"{severity}s ({len(chosen)})", severity)
        parts.append(Section(title, (Table(chosen, ("rule", "says"), bare=True),), kind="long"))
    verdict = "safeframe rules NAME explains one."
    return Document("The rules", tuple(parts), verdict=verdict, footer=())


def _page(rule: Rule) -> Document:
    judged = StyledText(rule.severity, rule.severity), f", judged per {rule.scope}"
    parts = [("why", rule.why), ("remedy", rule.remedy), ("source", rule.source)]
    for variant in demo.variants():
        if rule.name in variant.expect:
            text = f"{variant.title} (folder variants/{variant.name} of safeframe demo)"
            parts.append(("example", text))
    parts.append(("allow", f'allow = [ {{ rule = "{rule.name}", reason = "..." }} ]'))
    title = strong(rule.name), f": {rule.title}"
    return Document(title, (Paragraph(judged), Facts(tuple(parts))), footer=())
