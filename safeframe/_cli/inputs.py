"""Map files named on the command line."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable, Iterator, Mapping, Sequence

from .. import _mapfile as mapfile
from .._document.pending import notice
from .._document.reader import holds, read_stream
from .._errors import InputError, Problem, UsageError, each
from .._model import Connection, End, Plant
from .._pairing.gather import gather
from .._value import NamedTuple
from . import telling

TYPE_CHECKING = False
if TYPE_CHECKING:
    from pathlib import Path

    from ..protocols import Profile

PLANT = "plant.toml"
"""How the name of a plant file ends: it lists connections and is no map file itself."""

STDIN = "<stdin>"
_SUFFIXES = (".toml", ".csv")
_MOST_BELOW = 10_000
"""Files and folders below a folder that are searched for maps; by choice."""


def read_end(path: str) -> End:
    """Read one map file; ``-`` reads TOML from standard input."""
    if path != "-":
        tell_broken_off([path])
        return mapfile.load(path)
    text = read_stream(sys.stdin.buffer, path=STDIN)
    return mapfile.loads(text, path=STDIN)


def read_ends(paths: Iterable[str]) -> list[End]:
    """Read map files; raises InputError with the problems of all of them."""
    paths = list(paths)
    tell_broken_off(paths)
    return each(lambda path: mapfile.load(path) if path != "-" else read_end(path), paths)


def read_pair(paths: Sequence[str]) -> Connection:
    """Read the map files of both ends of a connection."""
    first, second = read_ends(paths)
    return Connection(first=first, second=second)


def connections(paths: Sequence[str]) -> tuple[Connection, ...]:
    """Return the connections of map files given pair by pair, of plant files and of folders."""
    return site(paths).connections


class Given(NamedTuple):
    """What the files on a command line hold; ``not_looked_at`` is what nobody opened beside it."""

    connections: tuple[Connection, ...]
    plants: tuple[Plant, ...]
    not_looked_at: tuple[str, ...]

    def tell(self) -> None:
        """Say on standard error what was not looked at: for results without a place for it."""
        for text in self.not_looked_at:
            telling.say(f"not looked at: {text}")


def site(paths: Sequence[str], own_profiles: Mapping[str, Profile] | None = None) -> Given:
    """Return the connections of map files, plant files and folders, and the plants among them."""
    plants = [path for path in paths if path.endswith(PLANT)]
    folders = [path for path in paths if _may_be_folder(path)]
    singles = [path for path in paths if path not in folders and path not in plants]
    if len(singles) % 2:
        raise UsageError(
            f"map files must be given in pairs, one for each end, not {len(singles)} "
            f"({', '.join(singles)}); name the map of the other end too, or the folder of both"
        )
    if singles.count("-") > 1:
        raise UsageError("standard input (-) must be given once, not twice")
    ends = iter(read_ends(singles))
    pairs = tuple(
        Connection(first=first, second=second) for first, second in zip(ends, ends, strict=True)
    )
    read = [_in_plant(path, own_profiles) for path in plants]
    gathered: list[Connection] = [*pairs, *(found for plant in read for found in plant.connections)]
    for folder in folders:
        found = _in_folder(folder, own_profiles)
        if isinstance(found, tuple):
            gathered += found
        else:
            read.append(found)
            gathered += found.connections
    more = [
        text
        for folder in folders
        for text in (*_named_like_plants(folder, plants), *_below(folder))
    ]
    return Given(tuple(gathered), tuple(read), tuple(more))


def _in_plant(path: str, own_profiles: Mapping[str, Profile] | None) -> Plant:
    from .._plant import file as plantfile  # deferred: reads records, which most runs need not.

    found = plantfile.load(path, own_profiles=own_profiles)
    tell_broken_off(end.where.path for connection in found.connections for end in connection.ends)
    return found


def tell_broken_off(paths: Iterable[str]) -> None:
    """Say so where maps may be of two versions, because an edit of them is not done."""
    told = notice(paths)
    if told:
        telling.say(told)


def versions(
    first: End, second: End, new_first: End, new_second: End
) -> tuple[Connection, Connection]:
    """Return a connection before and after an edit; raises UsageError for another order."""
    # An end may get a new name, but not the one of the other end.
    if first.name in (second.name, new_second.name) or second.name == new_first.name:
        names = ", ".join(end.name for end in (first, second, new_first, new_second))
        raise UsageError(
            "four map files must be both ends before, then both ends after in the same order, "
            f"not {names}"
        )
    before = Connection(first=first, second=second)
    return before, Connection(first=new_first, second=new_second)


def is_site(path: str) -> bool:
    """Tell whether a path is a folder or a plant file, and no single map."""
    return path.endswith(PLANT) or _may_be_folder(path)


def _may_be_folder(path: str) -> bool:
    """Tell whether a path is a folder; one that ends like a map file is read as a map file."""
    if path == "-" or path.endswith(_SUFFIXES):
        return False
    from pathlib import Path  # deferred: 4 ms that a check of two files need not pay.

    return Path(path).is_dir()


def _named_like_plants(folder: str, read: Iterable[str]) -> Iterator[str]:
    """Say which files of a folder nobody opens because their names end like that of a plant."""
    from pathlib import Path

    known = {os.path.realpath(path) for path in (str(Path(folder, PLANT)), *read)}
    found = [
        str(path)
        for path in sorted(Path(folder).iterdir())
        if path.name.endswith(PLANT)
        and not path.name.startswith(".")
        and os.path.realpath(path) not in known
        and holds(path, b"safeframe-map/", b"safeframe-plant/")
    ]
    if found:
        yield (
            f"{_first(found)}: named like plant files in {folder} "
            "(name a plant file itself; a map must have another name)"
        )


def _below(folder: str) -> Iterator[str]:
    """Say which map files lie in folders below, where nobody looks; a link may lead to a disk."""
    from pathlib import Path

    found: list[str] = []
    seen = {os.path.realpath(folder)}
    searched = 0
    for here, below, names in os.walk(folder, followlinks=True):
        searched += len(below) + len(names)
        if here != folder:
            found += (str(Path(here, name)) for name in sorted(names) if _is_map(Path(here, name)))
        if searched > _MOST_BELOW:
            yield f"folders below {folder} beyond {_MOST_BELOW} files: not searched for maps"
            break
        # A link may lead back up.
        new = {name: os.path.realpath(Path(here, name)) for name in sorted(below)}
        below[:] = [n for n, real in new.items() if not n.startswith(".") and real not in seen]
        seen |= set(new.values())
    if found:
        yield f"{_first(found)}: map files in folders below {folder} (name these folders, too)"


def _first(found: Sequence[str]) -> str:
    return found[0] + (f" and {len(found) - 1} more" if len(found) > 1 else "")


def _is_map(path: Path) -> bool:
    """Tell whether a file is named like a map and holds the word of the format."""
    return path.suffix.lower() in _SUFFIXES and holds(path, b"safeframe-map/")


def _in_folder(
    folder: str, own_profiles: Mapping[str, Profile] | None
) -> Plant | tuple[Connection, ...]:
    from pathlib import Path

    paths = sorted(
        str(path)
        for path in Path(folder).iterdir()
        if path.suffix.lower() in _SUFFIXES
        and not path.name.endswith(PLANT)
        and not path.name.startswith(".")
    )
    plant = Path(folder) / PLANT
    if plant.exists():
        found = _in_plant(str(plant), own_profiles)
        listed = {end.where.path for connection in found.connections for end in connection.ends}
        left = [path for path in paths if path not in listed]
        if left:
            message = f"a plant must list every map file of its folder, not leave {', '.join(left)}"
            raise InputError(Problem(path=str(plant), message=f"{message} out"))
        return found
    if not paths:
        raise InputError(
            Problem(
                path=folder,
                message="a folder must hold map files (*.toml or *.csv), not none",
                remedy="safeframe demo writes a folder to start from",
            )
        )
    return gather(read_ends(paths))
