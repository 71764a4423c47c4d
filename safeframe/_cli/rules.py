"""``safeframe rules``: the list of rules, or the page of one."""

from __future__ import annotations

import argparse
import sys

from .. import _checks as checks
from .. import _demo as demo
from .._findings import SEVERITIES, Rule
from .._report.text import Look, table
from . import options

__all__ = ["configure", "run"]

_EPILOG = """\
example:
  safeframe rules shifted-signals
"""


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.epilog = _EPILOG
    parser.add_argument("name", metavar="NAME", nargs="?", help="explain this rule")
    options.add_color(parser)


def run(args: argparse.Namespace) -> int:
    """Print the list or the page."""
    look = options.look(args)
    if args.name is None:
        lines = _list(checks.RULES, look)
    else:
        lines = _page(checks.find_rule(args.name), look)
    sys.stdout.write("\n".join(lines) + "\n")
    return 0


def _list(rules: tuple[Rule, ...], look: Look) -> list[str]:
    lines: list[str] = []
    for severity in SEVERITIES:
        chosen = [rule for rule in rules if rule.severity == severity]
        lines += [
            look.paint(severity, f"{severity}s ({len(chosen)})"),
            *table([(rule.name, rule.title) for rule in chosen], indent="  "),
            "",
        ]
    return [*lines, "safeframe rules NAME explains one."]


def _page(rule: Rule, look: Look) -> list[str]:
    head = f"{look.paint('strong', rule.name)}: {rule.title}"
    parts = [("why", rule.why), ("remedy", rule.remedy), ("source", rule.source)]
    for variant in demo.variants():
        if rule.name in variant.expect:
            text = f"{variant.title} (folder variants/{variant.name} of safeframe demo)"
            parts.append(("example", text))
    lines = [head, f"  {look.paint(rule.severity, rule.severity)}, judged per {rule.scope}"]
    for label, text in parts:
        lines += look.wrap(text, first=f"  {label + ':':8} ", rest=" " * 11)
    allow = f'allow = [ {{ rule = "{rule.name}", reason = "..." }} ]'
    return [*lines, f"  {'allow:':8} {allow}"]
