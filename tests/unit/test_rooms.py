"""Every protocol stays in its room: no name, role or module of one is used anywhere else."""

from __future__ import annotations

import ast
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

import safeframe
from safeframe import protocols
from safeframe.protocols import aspects
from tests.unit.links import CASES, make

pytestmark = pytest.mark.no_cover

PACKAGE = Path(safeframe.__file__).parent
NAMES = frozenset(protocols.names()) - {"plain"}
"""``plain`` is a word of its own elsewhere; it is looked for in comparisons and calls below."""
ROOMS = {name: PACKAGE / "protocols" / name.replace("-", "_") for name in protocols.names()}
# Words that a map may use for its ends in one protocol. Producer and consumer are words of this
# package, "device" is one of file systems.
ROLES = frozenset(role for name in NAMES for role in protocols.load(name).roles) - {
    "consumer",
    "device",
}
CLASSES = frozenset(
    found.__name__ for name in NAMES if (found := protocols.room(name).session) is not None
)
MODULES = frozenset(ROOMS[name].name for name in NAMES)


def sources() -> Iterator[tuple[str, ast.Module]]:
    """Yield every module outside the rooms."""
    for path in sorted(PACKAGE.rglob("*.py")):
        if not any(room in path.parents for room in ROOMS.values()):
            yield (
                path.relative_to(PACKAGE).as_posix(),
                ast.parse(path.read_text(encoding="utf-8")),
            )


def uses(tree: ast.Module) -> Iterator[str]:
    """Yield what a module knows of one protocol: its name, its roles, its modules, its classes."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and node.value in NAMES | ROLES:
            yield str(node.value)
        elif isinstance(node, ast.ImportFrom):
            parts = {*(node.module or "").split("."), *(alias.name for alias in node.names)}
            yield from sorted(parts & MODULES)
        elif isinstance(node, ast.Import):
            yield from sorted({p for a in node.names for p in a.name.split(".")} & MODULES)
        elif isinstance(node, ast.Name | ast.Attribute):
            word = node.id if isinstance(node, ast.Name) else node.attr
            if word in CLASSES | MODULES:
                yield word
        elif isinstance(node, ast.Compare):
            sides = [node.left, *node.comparators]
            if any(isinstance(side, ast.Constant) and side.value == "plain" for side in sides):
                yield "plain"


FORMATS_OF_ONE_PROTOCOL = {
    "importing/_eds.py": {"en50325-5"},
    "importing/_esi.py": {"fscp-12-1", "fscp_12_1"},
    "importing/_gsdml.py": {"fscp-3-1"},
    "importing/_nodeset.py": {"opcua-safety"},
    "importing/_xdd.py": {"fscp-13-1"},
}
"""A format of device files may belong to one protocol by its standard; its reader says which."""


def test_only_the_registry_names_protocols() -> None:
    found = {name: words for name, tree in sources() if (words := [*uses(tree)])}
    registry = found.pop("protocols/_registry.py")
    assert registry == sorted(NAMES, key=list(protocols.names()).index)
    assert {name: set(words) for name, words in found.items()} == FORMATS_OF_ONE_PROTOCOL


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ('if link.profile == "fscp-12-1": pass', ["fscp-12-1"]),
        ('x = {"opcua-safety": 1}', ["opcua-safety"]),
        ('if "master" in senders: pass', ["master"]),
        ('x = profile == "plain"', ["plain"]),
        ('x = "plain"', []),
        ("from ..protocols.fscp_3_1._frame import x", ["fscp_3_1"]),
        ("from ..protocols import fscp_2_1", ["fscp_2_1"]),
        ("import safeframe.protocols.fscp_13_1", ["fscp_13_1"]),
        ("isinstance(session, Fscp12Session)", ["Fscp12Session"]),
        ("isinstance(session, stream.OpcuaSession)", ["OpcuaSession"]),
        ("protocols.fscp_12_1.build()", ["fscp_12_1"]),
        ("from ..protocols import room", []),
    ],
)
def test_the_search_sees_each_way_to_name_one(text: str, found: list[str]) -> None:
    assert [*uses(ast.parse(text))] == found


def test_every_protocol_has_its_facts_in_its_room() -> None:
    assert {path.parent for path in PACKAGE.rglob("facts.toml")} == set(ROOMS.values())


def test_facts_alone_open_no_room() -> None:
    """Reading facts imports neither a room nor the engine of frames."""
    script = (
        "import sys; from safeframe import protocols\n"
        "for name in protocols.names(): protocols.load(name)\n"
        "print(*[m for m in sys.modules if m.startswith(('safeframe.protocols.', "
        "'safeframe._engine', 'safeframe.frame', 'safeframe.residual'))])"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True
    )
    assert set(done.stdout.split()) == {
        "safeframe.protocols._facts",
        "safeframe.protocols._facts_file",
        "safeframe.protocols._registry",
    }


@pytest.mark.parametrize("name", sorted(NAMES))
def test_a_room_offers_its_public_names(name: str) -> None:
    """Nothing is listed that is not there, and everything public of a room is documented."""
    module = __import__(f"safeframe.protocols.{ROOMS[name].name}", fromlist=["*"])
    for word in module.__all__:
        found = getattr(module, word)
        if callable(found):
            assert found.__doc__, word


def test_a_room_is_found_by_its_module_name(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delattr(protocols, "fscp_3_1")
    assert getattr(protocols, "fscp_3_1").next_number(1) == 2  # noqa: B009 - not by import.
    with pytest.raises(AttributeError, match=r"^module 'safeframe\.protocols' has no attribute"):
        getattr(protocols, "fscp_9_9")  # noqa: B009


def test_rooms_are_attributes_of_the_package() -> None:
    script = (
        "from safeframe import protocols\n"
        "print(protocols.fscp_3_1.next_number(1))\n"
        "protocols.fscp_9_9\n"
    )
    command = [sys.executable, "-c", script]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.stdout == "2\n"
    text = "AttributeError: module 'safeframe.protocols' has no attribute 'fscp_9_9'"
    assert done.stderr.splitlines()[-1].startswith(text)


def test_a_room_that_makes_its_own_faults_needs_no_more() -> None:
    link = make(*CASES[0])
    traits = aspects.FaultTraits()
    assert traits.caught_by(link, 2) == ()
    assert traits.neighbour(link, 0, "insertion") is link
