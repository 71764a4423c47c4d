"""``safeframe demo``: the whole job on an invented storage lift, step by step."""

from __future__ import annotations

import argparse
import shlex
import sys
from pathlib import Path

from .. import _checks as checks
from .. import _demo as demo
from . import inputs, main, outputs, schema

_EPILOG = """\
example:
  safeframe demo --into play

Everything in the demo is invented. The folder stays, for you to edit and check again.
"""

_UP = "#:schema ../"

_SCENE = """\
A vertical storage lift in hall 3 has the gravity axis LX. The safety controller SC1 gets a light
curtain LC1 and talks to the drive of LX and to that of the sister lift LX2. The change: LX gets a
second holding brake, so one bit is added in each direction. All data are invented.
"""


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.epilog = _EPILOG
    parser.add_argument(
        "--into", metavar="DIR", default="demo-lift", help="new folder (default: demo-lift)"
    )


def run(args: argparse.Namespace) -> int:
    """Write the files, run every step; return 0 when each ends as the demo promises."""
    folder = Path(args.into)
    outputs.refuse_full(args.into, "the demo")
    outputs.into(str(folder / "before"), demo.before())
    outputs.into(str(folder / "after"), demo.after())
    for variant in demo.variants():
        # One folder deeper, so the way from a map to its schema is longer.
        site = {name: text.replace(_UP, f"{_UP}../", 1) for name, text in variant.site.items()}
        outputs.into(str(folder / "variants" / variant.name), site)
    outputs.into(str(folder / "device-files"), demo.device_files())
    outputs.into(str(folder / "schemas"), {"map.schema.json": schema.text_of("map")})
    before, after = folder / "before", folder / "after"
    old = [str(before / "sc1-lx.toml"), str(before / "lx-sc1.toml")]
    new = [str(after / "sc1-lx.toml"), str(after / "lx-sc1.toml")]
    sys.stdout.write(_SCENE)
    good = [
        _step("All maps before the change agree.", 0, "check", str(before)),
        _step(
            "SC1 is edited, LX is not: nothing on the wire would tell.", 1, "check", new[0], old[1]
        ),
        _step(
            "One command edits both ends; without --write it only shows what it would do.",
            0,
            *("edit", "insert", *old, "--name", "brake2_release", "--after", "speed_level"),
            *("--one-means", "holding brake 2 released"),
            *("--bind", "SC1=Lift.Brake2Release", "--bind", "LX=Drive.Brake2Release"),
        ),
        _step("Both ends are edited.", 0, "check", str(after)),
        _step("Were both ends edited identically?", 0, "diff", *old, *new),
        _step(
            "The map of LX, held against the device file of its drive.",
            0,
            *("import", "esi", str(folder / "device-files" / "lx.xml"), "--as", "device"),
            *("--compare", new[1]),
        ),
        _step(
            "The record of the change: computed here, completed and signed by people.",
            0,
            *("record", "new", *old, *new, "--reason", "second holding brake"),
            *("-o", str(folder / "brake2.json"), "--html", str(folder / "brake2.html")),
        ),
        _variants(folder),
    ]
    command = f"safeframe check {shlex.quote(str(after))}"
    sys.stdout.write(f"\nThe files are in {args.into}: edit one, then run: {command}\n")
    return 0 if all(good) else 1


def _step(title: str, expected: int, *command: str) -> bool:
    """Run a command in front of the reader; return whether its exit code is the expected one."""
    sys.stdout.write(f"\n== {title}\n$ safeframe {shlex.join(command)}\n")
    return main(command) == expected


def _variants(folder: Path) -> bool:
    """Check every wrong variant and say whether the expected rules, and no others, found it."""
    sys.stdout.write("\n== Fifteen ways to get it wrong, in the folder variants\n")
    good = True
    for variant in demo.variants():
        report = checks.check_all(inputs.connections([str(folder / "variants" / variant.name)]))
        found = tuple(sorted({finding.rule for finding in report.findings}))
        good &= found == variant.expect
        sys.stdout.write(f"{variant.name}: {variant.title}\n    found by {', '.join(found)}\n")
    return good
