"""Reports as JUnit XML: one suite for each connection, one case for each rule.

Only what common readers understand: ``testsuites``, ``testsuite``, ``testcase``, ``failure``,
``error``, ``skipped`` and ``system-out``. No times and no host names, so that equal input gives
equal output.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from typing import NamedTuple
from xml.etree.ElementTree import Element, SubElement, indent, tostring

from .. import _checks as checks
from .._errors import InputError
from .._findings import Finding, NotJudged, Report, Rule, Spot, at_or_above
from .._plant.gaterow import NO_STEPS, NOT_JUDGED, GatePoint, GateRow
from .._plant.verify import GateReport
from .._words import count
from .document import CAUTION
from .paths import relative
from .text import clean

_PLANT = "all connections"


class _Told(NamedTuple):
    """What one case tells: its findings, and texts about those that do not count."""

    found: list[Finding]
    aside: list[str]


def report(given: Report, *, fail_on: str = "warning") -> str:
    """Return a report as one document.

    A finding milder than ``fail_on`` does not fail its case but is told in its output.
    A rule that had nothing to judge is skipped, with the reason.
    """
    root = Element("testsuites", name="safeframe check")
    told: dict[tuple[str, str, str], _Told] = defaultdict(lambda: _Told([], []))
    for finding in given.findings:
        told[_case(finding)].found.append(finding)
    for finding in given.known:
        told[_case(finding)].aside.append(f"known from the baseline\n{_text(finding)}")
    for waived in given.waived:
        text = f"allowed: {clean(waived.reason)}\n{_text(waived.finding)}"
        told[_case(waived.finding)].aside.append(text)
    own = [rule for rule in checks.RULES if rule.scope != "plant"]
    # One rule may have had nothing to judge in several places: each of them is said, once.
    places: dict[str, dict[str, dict[str, None]]] = defaultdict(lambda: defaultdict(dict))
    for entry in given.not_judged:
        places[entry.connection][entry.rule][_why_open(entry)] = None
    reasons = {
        name: {rule: "; ".join(texts) for rule, texts in rules.items()}
        for name, rules in places.items()
    }
    labels = given.which or ("",) * len(given.connections)
    for name, label in zip(given.connections, labels, strict=True):
        cases = {rule.name: told[rule.name, name, label] for rule in own}
        title = f"{name} [{label}]" if label else name
        _suite(root, title, own, cases, fail_on, reasons.get(title, {}))
    plant = [rule for rule in checks.RULES if rule.scope == "plant"]
    alone = len(given.connections) == 1
    several = (rule.name for rule in plant if rule.name not in checks.DEVICE_RULES)
    skipped = dict.fromkeys(several if alone else (), "only one connection was given")
    if not given.plants:
        skipped |= dict.fromkeys(checks.DEVICE_RULES, "no plant file lists the devices")
    skipped |= reasons.get("", {})
    if all(label != "route" for label, _ in given.facts):
        skipped |= {
            rule.name: "no route is declared" for rule in plant if rule.name.startswith("route-")
        }
    _suite(
        root,
        _PLANT,
        plant,
        {rule.name: told[rule.name, "", ""] for rule in plant},
        fail_on,
        skipped,
    )
    by_file = (
        f"{entry.connection}: {entry.subject} ({entry.reason})"
        for entry in given.not_judged
        if not entry.rule
    )
    for text in (*by_file, *given.not_looked_at):
        suite = root[-1]
        case = SubElement(suite, "testcase", classname=f"safeframe.{_PLANT}", name="not looked at")
        SubElement(case, "skipped", message=clean(text))
    _below(root[-1], [f"{label} {text}" for label, text in given.facts if label == "route"])
    return _document(root)


def problems(error: InputError) -> str:
    """Return a document for input that could not be read: one case with an error."""
    root = Element("testsuites", name="safeframe check")
    suite = SubElement(root, "testsuite", name="input")
    case = SubElement(suite, "testcase", classname="safeframe.input", name="readable")
    message = f"{count(len(error.problems), 'problem')} in the input"
    element = SubElement(case, "error", type="unreadable", message=message)
    element.text = "\n".join(clean(str(problem)) for problem in error.problems)
    return _document(root)


_GATE = (
    ("maps agree", ("maps",)),
    ("device files agree", ("device files",)),
    ("record fits", ("record", "request")),
    ("read back", ("read back", "serials")),
    ("tested", ("tests",)),
    ("signed", ("approvals", "signatures")),
    ("evidence", ("evidence",)),
)
"""The cases of a connection at the gate, with what each is about."""


def gate(given: GateReport) -> str:
    """Return what the gate of a plant says: one suite for each connection, one for all.

    A case passes only where what it is about was looked at and is in order.
    """
    root = Element("testsuites", name="safeframe verify")
    for row in given.rows:
        suite = SubElement(root, "testsuite", name=clean(row.name))
        found = _by_title(row)
        for title, aspects in _GATE:
            points = [point for point in row.points if point.aspect in aspects]
            case = _gate_case(suite, row.name, title, found[title], points)
            if case.find("failure") is None:
                _unseen(case, row, title)
        _open(suite, row.name, row.not_judged)
    suite = SubElement(root, "testsuite", name=_PLANT)
    _gate_case(suite, _PLANT, "nothing is used twice", given.findings, ())
    _open(suite, _PLANT, given.not_judged)
    for text in given.not_looked_at:
        _aside(suite, _PLANT, "not looked at", text)
    if given.unsigned:
        _aside(suite, _PLANT, "not cryptographically signed", count(given.unsigned, "record"))
    if given.allowed:
        case = _gate_case(suite, _PLANT, "allowed by the maps", (), ())
        SubElement(case, "system-out").text = count(given.allowed, "finding")
    _below(suite, [f"route {text}" for text in given.routes])
    return _document(root)


def _below(suite: Element, lines: Sequence[str]) -> None:
    """Say in the output of a suite how far routes were followed, and what this is not."""
    SubElement(suite, "system-out").text = "\n".join(map(clean, [*lines, CAUTION]))


def _by_title(row: GateRow) -> dict[str, list[Finding]]:
    """Return the findings of each case: at a device, at a file, and between the maps alone."""
    found: dict[str, list[Finding]] = {title: [] for title, _ in _GATE}
    for one in row.findings:
        title = "read back" if one.rule in checks.RECORD_RULES else _GATE[bool(one.file)][0]
        found[title].append(one)
    return found


def _unseen(case: Element, row: GateRow, title: str) -> None:
    """Say of a case without any point why it does not pass, where it does not.

    A record that is missing, unreadable or void has one point: nothing of it was looked at.
    """
    cells = {"read back": row.read_back, "tested": row.tested, "signed": row.signed}
    cell = cells.get(title)
    if title == "record fits" and row.valid.mark == NOT_JUDGED:
        cell = row.valid
    if cell is not None and cell.state != "good":
        kind = "wrong" if cell.state == "fault" else "open"
        SubElement(case, "failure", type=kind, message=clean(cell.text)).text = clean(cell.text)
    elif title == "device files agree" and not row.held:
        unread = row.agree.mark == NOT_JUDGED
        why = NOT_JUDGED if unread else "the plant file names none"
        SubElement(case, "skipped", message=why)
    elif title == "evidence" and "evidence" not in row.asked:
        SubElement(case, "skipped", message="the plant file asks for none")
    elif title == "tested" and row.tested.mark == NO_STEPS:
        SubElement(case, "skipped", message="the record is about no change, so it asks for none")


def _open(suite: Element, name: str, entries: Sequence[NotJudged]) -> None:
    for entry in entries:
        if entry.subject:
            of = f"{entry.route}: " if entry.route else ""
            _aside(suite, name, "not judged", f"{of}{entry.subject} ({entry.reason})")


def _aside(suite: Element, name: str, title: str, text: str) -> None:
    case = SubElement(suite, "testcase", classname=f"safeframe.{clean(name)}", name=title)
    SubElement(case, "skipped", message=clean(text))


def _gate_case(
    suite: Element,
    name: str,
    title: str,
    found: Sequence[Finding],
    points: Sequence[GatePoint],
) -> Element:
    case = SubElement(suite, "testcase", classname=f"safeframe.{clean(name)}", name=title)
    failing = [finding for finding in found if at_or_above(finding.severity, "warning")]
    lines = [finding.message for finding in failing] + [point.text for point in points]
    if lines:
        more = f" (and {len(lines) - 1} more)" if len(lines) > 1 else ""
        message = clean(lines[0]) + more
        kind = "wrong" if failing or any(point.fault for point in points) else "open"
        failure = SubElement(case, "failure", type=kind, message=message)
        told = [_text(finding) for finding in failing]
        told += [f"{clean(point.text)}\nstep: {clean(point.step)}" for point in points]
        failure.text = "\n\n".join(told)
    mild = [_text(finding) for finding in found if finding not in failing]
    if mild:
        SubElement(case, "system-out").text = "\n\n".join(mild)
    return case


def _case(finding: Finding) -> tuple[str, str, str]:
    return finding.rule, finding.connection, finding.which


def _suite(
    root: Element,
    title: str,
    rules: Sequence[Rule],
    told: Mapping[str, _Told],
    fail_on: str,
    skipped: Mapping[str, str],
) -> None:
    suite = SubElement(root, "testsuite", name=clean(title))
    for rule in rules:
        case = SubElement(
            suite, "testcase", classname=f"safeframe.{clean(title)}", name=clean(rule.name)
        )
        found, aside = told[rule.name]
        failing = [finding for finding in found if at_or_above(finding.severity, fail_on)]
        if failing:
            more = f" (and {len(failing) - 1} more)" if len(failing) > 1 else ""
            message = clean(failing[0].message) + more
            failure = SubElement(case, "failure", type=rule.severity, message=message)
            failure.text = "\n\n".join(map(_text, failing))
        elif rule.name in skipped:
            SubElement(case, "skipped", message=skipped[rule.name])
        beside = [_text(finding) for finding in found if finding not in failing] + aside
        if failing and rule.name in skipped:
            beside.append(f"not judged: {skipped[rule.name]}")
        if beside:
            SubElement(case, "system-out").text = "\n\n".join(beside)


def _why_open(entry: NotJudged) -> str:
    """Return what was not judged: at which route, what of it, and why."""
    where = ": ".join(filter(None, (entry.route, entry.subject)))
    return clean(f"{where} ({entry.reason})" if where else entry.reason)


def _text(finding: Finding) -> str:
    lines = [f"{finding.severity}: {finding.message}", *map(_spot, finding.spots)]
    lines += finding.details
    return "\n".join(map(clean, [*lines, f"remedy: {finding.remedy}"]))


def _spot(spot: Spot) -> str:
    path = relative(spot.where.path)
    where = f"{path}:{spot.where.line}" if spot.where.line else path
    place = "" if spot.place is None else str(spot.place)
    return "  ".join(filter(None, (f"  {where}", spot.end, place, spot.signal)))


def _document(root: Element) -> str:
    for element in [*root.iter("testsuite"), root]:
        cases = list(element.iter("testcase"))
        element.set("tests", str(len(cases)))
        for kind in ("failures", "errors", "skipped"):
            found = element.iter(kind.removesuffix("s") if kind != "skipped" else kind)
            element.set(kind, str(len(list(found))))
    indent(root)
    text: str = tostring(root, encoding="unicode", xml_declaration=False)
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{text}\n'
