"""Text patches of map files: the model changes as asked, every other byte stays."""

from __future__ import annotations

import dataclasses

import pytest
from hypothesis import given
from hypothesis import strategies as st

from safeframe.bits import Place
from safeframe.errors import UsageError
from safeframe.mapfile import dumps, loads
from safeframe.mapfile.patch import Patch
from safeframe.mapfile.write import plain_data, toml_key, toml_value
from safeframe.model import End, Map, Reserved, Signal
from safeframe.source import apply_edits
from tests.strategies import ends, reserved, signals

TOP = 'format = "safeframe-map/1"\nconnection = { name = "SC1-LX", profile = "plain" }\n'
END = 'end = { name = "SC1", peer = "LX" }\n'
NEW = Signal(name="release_2", at=Place(0, 1))
ROW = '{ at = "0.1", name = "release_2" }'


def as_tables(end: End) -> str:
    """Write an End in the style of table headers."""
    data = plain_data(end, path="x")
    lines = [f"format = {toml_value(data.pop('format'))}"]
    for name, value in data.items():
        for row in value if isinstance(value, list) else [value]:
            lines += ["", f"[[{name}]]" if isinstance(value, list) else f"[{name}]"]
            lines += [
                f"{toml_key(key)} = {toml_value(inner)}  # {key}" for key, inner in row.items()
            ]
    return "\n".join(lines) + "\n"


STYLES = st.sampled_from((dumps, as_tables))
LINE_ENDS = st.sampled_from(("\n", "\r\n"))
DIRECTIONS = st.sampled_from(("sends", "receives"))


def changed(end: End, direction: str, entries: list[Signal | Reserved]) -> End:
    if direction == "sends":
        return dataclasses.replace(end, sends=Map(entries=tuple(entries)))
    return dataclasses.replace(end, receives=Map(entries=tuple(entries)))


@st.composite
def texts(draw: st.DrawFn) -> tuple[End, str, str]:
    """Draw an End, its text in any style, and a direction."""
    end = draw(ends())
    text = draw(STYLES)(end)
    if draw(st.booleans()):
        text = text.removesuffix("\n")
    return end, text.replace("\n", draw(LINE_ENDS)), draw(DIRECTIONS)


class TestInsert:
    """A row is added where it is asked for."""

    @given(texts(), signals() | reserved(), st.data())
    def test_the_new_model_has_the_row_and_removing_it_restores_every_byte(
        self, drawn: tuple[End, str, str], entry: Signal | Reserved, data: st.DataObject
    ) -> None:
        """MUST: insert then load gives the expected model; remove gives the old text."""
        end, text, direction = drawn
        entries = list(getattr(end, direction).entries)
        number = data.draw(st.integers(0, len(entries)))
        after = apply_edits(text, Patch(text).insert(direction, number, entry))
        assert loads(after) == changed(
            end, direction, [*entries[:number], entry, *entries[number:]]
        )
        if entries:
            assert apply_edits(after, Patch(after).remove(direction, number)) == text


class TestRemove:
    @given(texts(), st.data())
    def test_the_new_model_lacks_the_row(
        self, drawn: tuple[End, str, str], data: st.DataObject
    ) -> None:
        """MUST: remove then load gives the model without that entry."""
        end, text, direction = drawn
        entries = list(getattr(end, direction).entries)
        if not entries:
            with pytest.raises(UsageError, match="must be below 0, not 0"):
                Patch(text).remove(direction, 0)
            return
        number = data.draw(st.integers(0, len(entries) - 1))
        after = apply_edits(text, Patch(text).remove(direction, number))
        del entries[number]
        assert loads(after) == changed(end, direction, entries)


class TestKeys:
    @given(texts(), st.data())
    def test_a_key_is_set_and_removed_again(
        self, drawn: tuple[End, str, str], data: st.DataObject
    ) -> None:
        """MUST: setting a key changes that field only; removing a new key restores the text."""
        end, text, direction = drawn
        entries = list(getattr(end, direction).entries)
        if not entries:
            return
        number = data.draw(st.integers(0, len(entries) - 1))
        for key, plain, value in (("at", "7.1", Place(7, 1)), ("note", "so", "so")):
            if getattr(entries[number], "order", "little") == "big":
                continue
            after = apply_edits(text, Patch(text).set_key(direction, number, key, plain))
            wanted = [*entries]
            wanted[number] = dataclasses.replace(entries[number], **{key: value})
            assert loads(after) == changed(end, direction, wanted)
            if not getattr(entries[number], key):
                back = Patch(after).remove_key(direction, number, key)
                assert apply_edits(after, back) == text
