"""``safeframe record``: the sign-off document of one change, from request to release."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from dataclasses import replace
from functools import partial

from .. import record
from .._errors import UsageError
from .._report import assessment as rendered
from .._report import record as pages
from .._report.document import Document
from .._report.text import Look, wrap
from ..record import Assessment, Record
from . import idle, inputs, options, outputs, recordings, values

_EPILOG = """\
The record computes what can be computed from the maps before and after the
change; people add the request, the read-back of both devices, the results of the
tests and two approvals. Every entry stays: what is entered again is the latest,
not the only one. Any later edit of a map voids the record, and verify says so.

examples:
  safeframe record new before/sc1-lx.toml before/lx-sc1.toml after/sc1-lx.toml \\
      after/lx-sc1.toml --reason "second holding brake" -o brake2.json
  safeframe record fill brake2.json --end SC1 --who "A. Berg" --when 2026-03-02 \\
      --serial 1001 --checksum 4F2A --expected 4F2A
  safeframe record done brake2.json SC1.brake2_release.non-safe --who "A. Berg" \\
      --when 2026-03-02
  safeframe record evidence brake2.json run.pcapng after/sc1-lx.toml \\
      after/lx-sc1.toml
  safeframe record sign brake2.json --who "C. Dahl" --role "safety engineer" \\
      --when 2026-03-03
  safeframe record verify brake2.json after/sc1-lx.toml after/lx-sc1.toml
  safeframe record withdraw brake2.json --approval "C. Dahl" --who "C. Dahl" \\
      --when 2026-03-05 --reason "device replaced"
  safeframe record seal brake2.json | ssh-keygen -Y sign -f KEY -n safeframe-record \\
      > brake2.json.c-dahl.sig
  safeframe record show brake2.json --html brake2.html

exit codes: 0 done (verify: fits the maps, complete and signed), 1 verify: not so,
2 wrong use or unreadable input, 3 internal error
"""


_PAPER = "a4"


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.epilog = _EPILOG
    actions = parser.add_subparsers(dest="action", metavar="ACTION", required=True)
    for name, (declare, _, text) in _ACTIONS.items():
        about = f"{text[0].upper()}{text[1:]}."
        added = actions.add_parser(name, help=text, description=about)
        if declare is not _declare_new:
            added.add_argument("record", metavar="RECORD")
        declare(added)


def run(args: argparse.Namespace) -> int:
    """Run one action."""
    return _ACTIONS[args.action][1](args)


def _declare_new(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "maps",
        metavar="MAP",
        nargs=4,
        help="both ends before the change, then both after, in the same order",
    )
    outputs.add(parser, *("-o", "--output"), kind="record", required=True, help="the new record")
    parser.add_argument("--reason", default="", help="why the change was asked for")
    parser.add_argument("--asked-by", metavar="NAME", default="", help="who asked for it")
    parser.add_argument(
        "--hazard", metavar="TEXT", action="append", default=[], help="may be repeated"
    )
    options.add_profiles(parser)
    _declare_pages(parser)


def _new(args: argparse.Namespace) -> int:
    _refuse_idle(args)
    before, after = inputs.versions(*inputs.read_ends(args.maps))
    made = record.new(
        before,
        after,
        reason=args.reason,
        asked_by=args.asked_by,
        hazards=tuple(args.hazard),
        own_profiles=options.own_profiles(args),
    )
    outputs.write(args, "output", record.dumps(made))
    found = record.assess(made)
    _write_pages(args, made, found)
    return _tell(args.output, found)


def _declare_request(parser: argparse.ArgumentParser) -> None:
    _declare_person(parser, "who enters it")
    parser.add_argument("--reason", metavar="TEXT", help="why the change was asked for")
    parser.add_argument("--asked-by", metavar="NAME", help="who asked for it")
    parser.add_argument(
        "--hazard", metavar="TEXT", action="append", help="may be repeated; replaces earlier ones"
    )


def _request(args: argparse.Namespace) -> int:
    return _update(
        args.record,
        lambda made: record.request(
            made,
            who=args.who,
            when=args.when,
            reason=args.reason,
            asked_by=args.asked_by,
            hazards=None if args.hazard is None else tuple(args.hazard),
        ),
    )


def _declare_fill(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--end", required=True, help="the end whose device was read back")
    _declare_person(parser, "who read these values")
    for name, text in (
        ("serial", "serial number of the device"),
        ("checksum", "as the device shows it"),
        ("expected", "as the engineering tool shows it"),
    ):
        parser.add_argument(f"--{name}", metavar="TEXT", help=text)
    parser.add_argument("--remark", metavar="TEXT", default="", help="for instance why again")


def _declare_person(parser: argparse.ArgumentParser, text: str) -> None:
    parser.add_argument("--who", metavar="NAME", required=True, help=text)
    parser.add_argument("--when", metavar="TEXT", required=True, help="date and time")


def _fill(args: argparse.Namespace) -> int:
    names = ("who", "when", "serial", "checksum", "expected", "remark")
    given = {name: getattr(args, name) for name in names}
    return _update(args.record, lambda made: record.fill(made, args.end, **given))


def _declare_done(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("step", metavar="STEP", nargs="+", help="steps of the checklist")
    _declare_person(parser, "who tried them")
    parser.add_argument(
        "--result", choices=[word for word in record.RESULTS if word], default="passed"
    )
    parser.add_argument("--remark", metavar="TEXT", default="")


def _done(args: argparse.Namespace) -> int:
    def change(made: Record) -> Record:
        for step in args.step:
            made = record.done(
                made, step, who=args.who, when=args.when, result=args.result, remark=args.remark
            )
        return made

    return _update(args.record, change)


def _declare_evidence(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("recording", metavar="RECORDING", help="a file, as capture reads it")
    recordings.add(parser)
    parser.add_argument(
        "--window",
        metavar="MS",
        type=values.integer,
        default=record.DEFAULT_WINDOW_MS,
        help="tell what changes in the other direction so long after a sight "
        "(default: %(default)s ms)",
    )
    parser.add_argument("--who", metavar="NAME", default="", help="who made the recording")
    parser.add_argument("--when", metavar="TEXT", default="", help="date and time")
    options.add_profiles(parser)


def _evidence(args: argparse.Namespace) -> int:
    connection = inputs.read_pair(args.maps)

    def change(made: Record) -> Record:
        return record.add_evidence(
            made,
            args.recording,
            connection,
            window_ms=args.window,
            fresh=args.fresh,
            at=args.at,
            sources=args.sources,
            values=args.value,
            ethertype=args.ethertype,
            udp_port=args.udp_port,
            who=args.who,
            when=args.when,
            own_profiles=options.own_profiles(args),
        )

    return _update(args.record, change, partial(_seen, options.look(args)))


def _seen(look: Look, made: Record) -> str:
    """Return what the evidence that was entered last shows."""
    act = made.history[-1].act
    assert isinstance(act, record.EvidenceAct)
    lines = wrap(record.evidence_head(act), look, rest="  ")
    for line in record.evidence_lines(act):
        lines += wrap(line, look, first="  ", rest="    ")
    lines += wrap(
        "no step got a result: seen on the wire is not seen at the machine, a person decides", look
    )
    return "".join(f"{line}\n" for line in lines)


def _declare_sign(parser: argparse.ArgumentParser) -> None:
    _declare_person(parser, "who approves")
    parser.add_argument("--role", metavar="TEXT", required=True)


def _sign(args: argparse.Namespace) -> int:
    return _update(
        args.record,
        lambda made: record.sign(made, who=args.who, role=args.role, when=args.when),
    )


def _declare_withdraw(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--approval", metavar="NAME", required=True, help="whose approval is withdrawn"
    )
    _declare_person(parser, "who withdraws it")
    parser.add_argument("--reason", metavar="TEXT", required=True)


def _withdraw(args: argparse.Namespace) -> int:
    return _update(
        args.record,
        lambda made: record.withdraw(
            made, args.approval, who=args.who, when=args.when, reason=args.reason
        ),
    )


def _seal(args: argparse.Namespace) -> int:
    sys.stdout.write(record.seal_text(record.load(args.record)))
    return 0


def _declare_verify(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "maps", metavar="MAP", nargs=2, help="both ends after the change, in the record's order"
    )
    parser.add_argument(
        "--before",
        metavar="MAP",
        nargs=2,
        help="both ends before the change (default: the maps inside the record)",
    )
    parser.add_argument(
        "--recording",
        metavar="FILE",
        action="append",
        default=[],
        help="compute the evidence from this recording anew and compare; may be repeated",
    )
    _declare_signers(parser)
    parser.add_argument(
        "--signed-by",
        metavar="NAME",
        action="append",
        default=[],
        help="ask for a signature of this allowed signer; may be repeated",
    )
    options.add_profiles(parser)
    options.add_format(parser)
    options.add_color(parser)


def _declare_signers(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--signers",
        metavar="FILE",
        default="",
        help="allowed signers (ssh-keygen) by which the signature files beside the record are "
        "judged; there is no default",
    )


def _verify(args: argparse.Namespace) -> int:
    if args.signed_by and not args.signers:
        raise UsageError("--signed-by must come with --signers, the file of allowed signers")
    made = record.load(args.record)
    connection = inputs.read_pair(args.maps)
    before = inputs.read_pair(args.before) if args.before else None
    own = options.own_profiles(args)
    found = record.verify(made, connection, before=before, own_profiles=own)
    found = record.with_recordings(found, made, connection, args.recording)
    found = record.with_signatures(
        found, args.record, made, signers=args.signers, signed_by=args.signed_by
    )
    name = made.computed.connection
    if args.format == "json":
        sys.stdout.write(rendered.json_text(name, found))
    else:
        options.tell(args, rendered.document(name, found))
    return int(not found.complete_and_signed)


def _declare_show(parser: argparse.ArgumentParser) -> None:
    _declare_signers(parser)
    _declare_pages(parser)


def _show(args: argparse.Namespace) -> int:
    _refuse_idle(args)
    made = record.load(args.record)
    found = record.assess(made)
    signed = record.with_signatures(found, args.record, made, signers=args.signers)
    # The page tells the signature files in its own words, and is no better for a refused one.
    found = replace(found, faults=signed.faults, signatures=signed.signatures)
    if not args.html and not args.markdown:
        sys.stdout.write(_markdown(made, found))
    _write_pages(args, made, found)
    return 0


def _declare_pages(parser: argparse.ArgumentParser) -> None:
    outputs.add(parser, "--html", kind="page record", help="write the page to print and to keep")
    outputs.add(parser, "--markdown", kind="text record", help="write the same as Markdown")
    parser.add_argument(
        "--paper", choices=list(pages.PAPERS), default=_PAPER, help="of the HTML page"
    )


def _refuse_idle(args: argparse.Namespace) -> None:
    """Refuse a size of paper where no page is written."""
    if args.paper != _PAPER and not args.html:
        idle.needs(args, ("paper",), "--html")


def _write_pages(args: argparse.Namespace, made: Record, found: Assessment) -> None:
    if args.html:
        text = options.html(_page(made, found), sheet=pages.sheet(made, paper=args.paper))
        outputs.write(args, "html", text)
    if args.markdown:
        outputs.write(args, "markdown", _markdown(made, found))


def _markdown(made: Record, found: Assessment) -> str:
    from .._report import markdown  # deferred: most actions show no page.

    return markdown.render(_page(made, found))


def _page(made: Record, found: Assessment) -> Document:
    return pages.document(made, found, found.signatures)


def _update(
    path: str,
    change: Callable[[Record], Record],
    first: Callable[[Record], str] = lambda _: "",
) -> int:
    """Change a record in its file: what people entered exists nowhere else.

    An interrupt while its state is computed says that the entry is made: again would be twice.
    """
    made = record.update(path, change)
    try:
        sys.stdout.write(first(made))
        return _tell(path, record.assess(made))
    except KeyboardInterrupt:
        raise KeyboardInterrupt(f"{path} holds the entry") from None


def _tell(path: str, assessment: Assessment) -> int:
    sys.stdout.write(rendered.summary(path, assessment))
    return 0


_ACTIONS = {
    "new": (_declare_new, _new, "make the record of a change from the maps before and after"),
    "request": (_declare_request, _request, "complete or correct what the change was asked for"),
    "fill": (_declare_fill, _fill, "enter what a device showed after the download"),
    "done": (_declare_done, _done, "enter the result of steps of the checklist"),
    "evidence": (_declare_evidence, _evidence, "enter what a recording shows of the steps"),
    "sign": (_declare_sign, _sign, "approve a record that is complete"),
    "withdraw": (_declare_withdraw, _withdraw, "take an approval back, with the reason"),
    "seal": (lambda _: None, _seal, "print the exact text for a detached signature"),
    "verify": (_declare_verify, _verify, "compute everything anew: does the record still hold"),
    "show": (_declare_show, _show, "print a record as Markdown, or write HTML and Markdown"),
}
"""What the command can do: arguments, function, line of help."""
