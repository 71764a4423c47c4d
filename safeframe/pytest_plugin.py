"""A pytest plugin: the connection of two map files and its frames as fixtures.

It is registered when safeframe is installed and does nothing until a test asks for one of its
fixtures. The map files are named in the configuration, relative to its folder::

    [pytest]
    safeframe_maps = maps/sc1-lx.toml maps/lx-sc1.toml
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:  # pytest loads this module in every run; the package is imported when used.
    from ._link import Link
    from ._model import Connection
    from .fixtures import FrameSet

__all__ = [
    "safeframe_connection",
    "safeframe_link",
    "safeframe_fault",
    "safeframe_states",
]

_MAPS, _SEED = "safeframe_maps", "safeframe_seed"


def pytest_addoption(parser: pytest.Parser) -> None:
    """Declare the settings."""
    parser.addini(_MAPS, "the map files of both ends", type="paths")
    parser.addini(_SEED, "seed of the frames that are generated (0)", default="0")


def _connection(config: pytest.Config) -> Connection:
    from ._mapfile import load
    from ._model import Connection

    paths = config.getini(_MAPS)
    if len(paths) != 2:
        raise pytest.UsageError(f"{_MAPS} must name two map files, not {len(paths)}")
    first, second = map(load, paths)
    return Connection(first=first, second=second)


def _sets(config: pytest.Config, kind: str) -> tuple[FrameSet, ...]:
    from ._link import link_of
    from .fixtures import make

    seed = config.getini(_SEED)
    try:
        number = int(seed)
    except ValueError:
        raise pytest.UsageError(f"{_SEED} must be an integer, not {seed!r}") from None
    return make(link_of(_connection(config)), kind, seed=number)


@pytest.fixture(scope="session")
def safeframe_connection(pytestconfig: pytest.Config) -> Connection:
    """Return the connection of the two map files."""
    return _connection(pytestconfig)


@pytest.fixture(scope="session")
def safeframe_link(safeframe_connection: Connection) -> Link:
    """Return the connection with what its profile needs to build and judge frames."""
    from ._link import link_of

    return link_of(safeframe_connection)


@pytest.fixture(scope="session")
def safeframe_states(pytestconfig: pytest.Config, safeframe_link: Link) -> FrameSet:
    """Return a stream of legal states."""
    return _sets(pytestconfig, "states")[0]


@pytest.fixture
def safeframe_fault(request: pytest.FixtureRequest) -> FrameSet:
    """Return one faulty sequence; the test runs once for each of the set ``faults``."""
    found: FrameSet = request.param
    return found


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Run a test that asks for a fault once for each faulty sequence."""
    if safeframe_fault.__name__ in metafunc.fixturenames:
        sets = _sets(metafunc.config, "faults")
        labels = [each.label.removeprefix("fault-") for each in sets]
        metafunc.parametrize("safeframe_fault", sets, ids=labels, indirect=True)
