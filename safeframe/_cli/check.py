"""``safeframe check``: say whether both ends agree bit for bit and the sizes are legal."""

from __future__ import annotations

import argparse
import importlib
import sys
from collections.abc import Iterable, Mapping

from .. import _checks as checks
from .._errors import InputError, UsageError
from .._findings import SEVERITIES, Report, each_one
from .._model import Connection
from .._value import replace
from ..protocols import Profile
from . import idle, inputs, options, outputs, telling

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

    from .._grids import BitGrid
    from .._report.document import Document

_EPILOG = """\
examples:
  safeframe check sc1-lx.toml lx-sc1.toml      the two ends of one connection
  safeframe check maps/                        a folder: ends are matched by their names
  safeframe check plant.toml                   the site: records, read-backs, serial numbers too
  generate-map | safeframe check - lx-sc1.toml
  safeframe check --html report.html maps/     a page with pictures, for a review
  safeframe check --baseline known.json maps/  fail on new findings only

formats: text for people, json for build scripts, sarif (2.1.0) and junit for the tools that
read them, markdown for the summary of a build, workflow-commands and code-quality-json for
annotations of changed lines in hosted CI systems

exit codes: 0 no finding at or above --fail-on, 1 findings, 2 wrong use or unreadable input,
3 internal error
"""


# Module of render, function for a report, function for input that could not be read.
_OUTPUTS = {
    "json": ("jsonout", "report", "problems"),
    "sarif": ("sarif", "report", "problems"),
    "junit": ("junit", "report", "problems"),
    "workflow-commands": ("annotations", "workflow_commands", "workflow_problems"),
    "code-quality-json": ("annotations", "code_quality", "code_quality_problems"),
}

_FAIL_ON = "warning"
_WITHOUT_ROOM = ("sarif", "workflow-commands", "code-quality-json")
"""Formats in which nothing but findings can be told."""
_WITHOUT_ASIDE = ("workflow-commands", "code-quality-json")
"""Formats in which nothing can be told of findings that do not count."""


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.epilog = _EPILOG
    parser.add_argument(
        "maps",
        metavar="MAP",
        nargs="+",
        help="map files, two for each connection, plant files (...plant.toml) or folders of map "
        "files; - is standard input",
    )
    parser.add_argument(
        "--fail-on",
        choices=SEVERITIES,
        default=_FAIL_ON,
        help="mildest finding that makes the exit code 1 (default: %(default)s)",
    )
    parser.add_argument(
        "--details", action="store_true", help="show the symptoms that each cause explains"
    )
    parser.add_argument(
        "--propose",
        action="store_true",
        help="show the edits that would remove findings with a mechanical remedy",
    )
    parser.add_argument(
        "--baseline", metavar="FILE", help="count only findings that this file does not know"
    )
    outputs.add(
        parser,
        "--write-baseline",
        kind="baseline",
        help="write the findings of this run to a baseline file; the exit code is 0",
    )
    outputs.add(
        parser,
        "--html",
        kind="page check",
        help="write a page with pictures too: no script, prints well",
    )
    outputs.add(
        parser,
        "--svg",
        kind="picture check",
        help="write a picture too: both ends side by side, bit by bit",
    )
    options.add_profiles(parser)
    options.add_format(parser, *_OUTPUTS)
    options.add_color(parser)


def run(args: argparse.Namespace) -> int:
    """Check, print, and return 1 when something is at or above the threshold."""
    if args.baseline and args.write_baseline:
        raise UsageError("--baseline must stand without --write-baseline, not with it")
    if args.propose and args.format != "text":
        raise UsageError(f"--propose must stand with --format text, not with {args.format}")
    if args.format != "text":
        idle.refuse(args, ("details",), f"--format {args.format}")
    if args.write_baseline and args.format != "junit" and args.fail_on != _FAIL_ON:
        # Then the exit code is 0, whatever is found; only a report for a build has its failures.
        idle.refuse(args, ("fail_on",), "--write-baseline")
    try:
        own = options.own_profiles(args)
        given = inputs.site(args.maps, own)
        connections, plants, _ = given
    except InputError as error:
        if args.format in _OUTPUTS:
            module, _, name = _OUTPUTS[args.format]
            sys.stdout.write(getattr(_render(module), name)(error))
        elif args.format != "text":
            from .._report import findings

            options.tell(args, findings.problems(error))
        raise
    report = checks.check_site(connections, plants, own_profiles=own)
    report = replace(report, not_looked_at=(*given.not_looked_at, *report.not_looked_at))
    if args.format in _WITHOUT_ROOM:
        from .._report import findings  # deferred, as all renderers: only some of them are needed.
        from .._report.paths import shown

        for line in findings.not_judged(report):
            telling.say(line)
        given._replace(not_looked_at=report.not_looked_at).tell()
    if args.baseline:
        report = _only_new(report, args.baseline)
    if args.format in _WITHOUT_ASIDE:
        if report.known:
            telling.say(findings.known(report))
        for waived in report.waived:
            telling.say(f"allowed: {waived.finding.rule}  [{shown(waived.where)}]: {waived.reason}")
    if not report.findings and (args.format != "text" or args.details):
        report = _with_fingerprints(report, connections, own)
    if args.html or args.svg:
        _draw(args, report, connections)
    _tell(args, report, connections, own)
    if args.write_baseline:
        from .. import _baseline as baseline  # deferred: most runs have none.

        outputs.write(args, "write_baseline", baseline.dumps(report.findings))
        number = sum(1 for _ in each_one(report.findings))
        telling.say(
            f"{number} finding{'s'[: number != 1]} known from now on: "
            "with --baseline and this file only others count"
        )
        for finding in report.findings:
            if finding.unlisted is None:
                name = finding.connection
                telling.say(
                    f"{name}: {finding.message}, and not known: {finding.rule} still counts"
                )
        return 0
    return int(report.fails(args.fail_on))


def _tell(
    args: argparse.Namespace,
    report: Report,
    connections: tuple[Connection, ...],
    own: Mapping[str, Profile],
) -> None:
    if args.format in _OUTPUTS:
        module, name, _ = _OUTPUTS[args.format]
        more = {"fail_on": args.fail_on} if args.format == "junit" else {}
        sys.stdout.write(getattr(_render(module), name)(report, **more))
        return
    if args.format == "html":
        options.tell(args, _page(report, _pictures(report, connections)))
        return
    from .._report import findings  # deferred, as all renderers: only one of them is needed.

    if args.format == "markdown":
        from .._report.paths import shown

        options.tell(args, findings.document(report, where=shown))
        return
    options.tell(args, findings.document(report, everything=args.details), details=args.details)
    if args.propose:
        from . import proposals  # deferred: few runs want to edit.

        options.tell(args, proposals.document(connections, report, own))


def _render(module: str) -> Any:
    return importlib.import_module(f".._report.{module}", __package__)


def _only_new(report: Report, path: str) -> Report:
    from .. import _baseline as baseline

    report, gone = baseline.apply(report, baseline.load(path))
    if gone:
        telling.say(
            f"{gone} known finding{'s'[: gone != 1]} of the baseline no longer found; "
            "shorten it with --write-baseline"
        )
    return report


def _draw(args: argparse.Namespace, report: Report, connections: tuple[Connection, ...]) -> None:
    pictures = _pictures(report, connections)
    if args.html:
        outputs.write(args, "html", options.html(_page(report, pictures)))
    if args.svg:
        from .._report import svg

        title = f"Bit grids of {', '.join(report.connections)}"
        outputs.write(args, "svg", svg.document([grids for _, grids in pictures], title))


def _pictures(
    report: Report, connections: tuple[Connection, ...]
) -> list[tuple[str, tuple[BitGrid, BitGrid]]]:
    """Return the name and the grids of each direction with a finding, or of all if they are few."""
    from .._grids import compare  # deferred: most runs draw nothing.
    from .._report.findings import FEW

    found = {(finding.connection, finding.direction) for finding in report.findings}
    every = [(one.name, direction) for one in connections for direction in one.directions()]
    drawn = [(name, way) for name, way in every if (name, way.name) in found]
    drawn = drawn or (every if len(connections) <= FEW else [])
    return [
        (way.name if len(connections) == 1 else f"{name}: {way.name}", compare(way))
        for name, way in drawn
    ]


def _page(report: Report, pictures: Iterable[tuple[str, tuple[BitGrid, BitGrid]]]) -> Document:
    from .._report import findings
    from .._report.document import Grids
    from .._report.paths import shown

    drawn = [Grids(grids, name) for name, grids in pictures]
    return findings.document(report, everything=True, pictures=drawn, where=shown)


def _with_fingerprints(
    report: Report, connections: Iterable[Connection], own: Mapping[str, Profile]
) -> Report:
    from .._fingerprint import wire_facts  # deferred: only a clean run shows them.

    facts = [fact for connection in connections for fact in wire_facts(connection, own)]
    return replace(report, facts=(*report.facts, *facts))
