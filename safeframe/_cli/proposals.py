"""The edits that ``safeframe check --propose`` shows."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from .._findings import Report
from .._mapfile import read_text
from .._model import Connection
from .._report.document import Block, CodeBlock, Document, Paragraph, Section
from .._report.edits import patch
from .._words import count
from ..edit import MapText, Proposal, propose
from ..protocols import Profile
from . import inputs
from .edit import command


def document(
    connections: Iterable[Connection], report: Report, own_profiles: Mapping[str, Profile]
) -> Document:
    """Return each proposal as a command with its patch, and what it takes for granted."""
    proposed: list[Section] = []
    given = tuple(connections)
    labels = report.which or ("",) * len(given)
    seen = set[frozenset[str]]()
    for connection, label in zip(given, labels, strict=True):
        # Of two connections of one name, a finding is about the one that its label tells.
        about = connection.name, label
        findings = [one for one in report.findings if (one.connection, one.which) == about]
        paths = [end.where.path for end in connection.ends]
        if not findings or inputs.STDIN in paths or frozenset(paths) in seen:
            continue
        seen.add(frozenset(paths))  # A plant may list one pair many times.
        sources = [MapText(path=path, text=read_text(path)) for path in paths]
        both = sources[0], sources[1]
        proposals = propose(connection, both, findings, own_profiles=own_profiles)
        proposed += [_proposal(proposal, paths) for proposal in proposals]
    title = "Proposed edits"
    if not proposed:
        none = "No finding can be removed by an edit of its own; see the remedies."
        return Document(title, (Section(""),), verdict=none, footer=())
    verdict = (
        f"{count(len(proposed), 'edit')} proposed, each by itself. A signal of one end only is "
        "completed, otherwise the sender's map counts; which end is right is for you to say. A "
        "command shows what follows from it, and writes it with --write."
    )
    return Document(title, (Section(""), *proposed), verdict=verdict, footer=())


def _proposal(proposal: Proposal, paths: list[str]) -> Section:
    finding = proposal.finding
    blocks: list[Block] = [CodeBlock((command(paths, proposal.operation),))]
    if proposal.unbound:
        ends = " and ".join(proposal.unbound)
        blocks.append(Paragraph(f"then bind it at {ends}: add --bind END=VARIABLE for each"))
    blocks.append(patch(proposal.edit.patch))
    return Section(f"proposed for {finding.rule}  [{finding.direction}]", tuple(blocks))
