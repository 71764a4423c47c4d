"""What is worked out of maps while one record is judged: each thing once, whoever asks for it.

A value of the model never changes, so that what follows from it needs to be found once. Nothing
is kept beyond the one record: memory does not grow with their number.
"""

from __future__ import annotations

from collections.abc import Mapping

from .. import _checks as checks
from .._fingerprint import end_fingerprint, wire_fingerprint
from .._mapfile.write import write_toml
from .._model import Connection, End
from ..protocols import Profile


class Workings:
    """Fingerprints, texts and judgements of the ends of one record; ``own_profiles`` by name.

    ``connection`` is one that was read from files and judged by itself, its device files apart;
    ``judged`` is what was seen of it.
    """

    def __init__(
        self,
        own_profiles: Mapping[str, Profile] | None = None,
        *,
        connection: Connection | None = None,
        judged: checks.Judged | None = None,
    ) -> None:
        self.own_profiles = own_profiles
        self._from_files = connection is not None
        # With the end itself: while it is kept, no other value has its number.
        self._prints: dict[int, tuple[End, tuple[str, str]]] = {}
        self._texts: dict[int, tuple[End, str]] = {}
        self._known = connection, judged

    def prints(self, end: End) -> tuple[str, str]:
        """Return the wire and the end fingerprint of an end."""
        if id(end) not in self._prints:
            wire = wire_fingerprint(end, own_profiles=self.own_profiles)
            own = end_fingerprint(end, own_profiles=self.own_profiles)
            self._prints[id(end)] = end, (wire, own)
        return self._prints[id(end)][1]

    def text(self, end: End) -> str:
        """Return the map of an end as the canonical text of its file."""
        if id(end) not in self._texts:
            text = write_toml(end, path="<memory>", known=self._from_files)
            self._texts[id(end)] = end, text
        return self._texts[id(end)][1]

    def judged(self, connection: Connection) -> checks.Judged | None:
        """Return what was seen of a connection already, None where it was not judged."""
        known, judged = self._known
        if known is None or {*map(id, known.ends)} != {*map(id, connection.ends)}:
            return None
        return judged
