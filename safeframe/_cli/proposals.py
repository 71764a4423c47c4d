"""The edits that ``safeframe check --propose`` shows."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from .._findings import Report
from .._mapfile import read_text
from .._model import Connection
from .._report.edits import patch
from .._report.text import Look, clean
from ..edit import MapText, Proposal, propose
from ..protocols import Profile
from . import inputs
from .edit import command

__all__ = ["text"]


def text(
    connections: Iterable[Connection],
    report: Report,
    own_profiles: Mapping[str, Profile],
    *,
    look: Look,
) -> str:
    """Return each proposal as a command with its patch, and what it takes for granted."""
    lines: list[str] = []
    count = 0
    for connection in connections:
        findings = [one for one in report.findings if one.connection == connection.name]
        paths = [end.where.path for end in connection.ends]
        if not findings or inputs.STDIN in paths:
            continue
        sources = [MapText(path=path, text=read_text(path)) for path in paths]
        for proposal in propose(
            connection, (sources[0], sources[1]), findings, own_profiles=own_profiles
        ):
            count += 1
            lines += ["", *_proposal(proposal, paths, look)]
    if not count:
        return "\nNo finding can be removed by an edit of its own; see the remedies.\n"
    plural = "" if count == 1 else "s"
    lines += [
        "",
        f"{count} edit{plural} proposed, each by itself. A signal of one end only is completed, "
        "otherwise the sender's map",
        "counts; which end is right is for you to say. A command shows what follows from it, and",
        "writes it with --write.",
    ]
    return "\n".join(lines) + "\n"


def _proposal(proposal: Proposal, paths: list[str], look: Look) -> list[str]:
    finding = proposal.finding
    head = f"proposed for {finding.rule}  [{clean(finding.direction)}]"
    lines = [look.paint("strong", head), f"  {clean(command(paths, proposal.operation))}"]
    if proposal.unbound:
        ends = " and ".join(clean(end) for end in proposal.unbound)
        lines.append(f"  then bind it at {ends}: add --bind END=VARIABLE for each")
    body = patch(proposal.edit.patch, look=look)
    return [*lines, *(f"    {line}" for line in body.splitlines())]
