"""Dataclasses made at little cost: the same to whoever uses them as those of ``dataclasses``."""

from __future__ import annotations

import copy
import dataclasses
import inspect
import pickle
from typing import Any, get_type_hints

import pytest
from hypothesis import given
from hypothesis import strategies as st

from safeframe import _value


def _kinds(make: Any, field: Any) -> tuple[Any, Any, Any]:
    """Return three classes that are made in one of both ways."""

    @make(frozen=True, slots=True, kw_only=True)
    class Named:
        """A value."""

        width: int = 1
        name: str
        note: str = field(default="", repr=False)
        line: int = field(default=0, compare=False)

        @property
        def end(self) -> int:
            return self.width + 1

    @make(frozen=True, slots=True, order=True)
    class Pair:
        left: int
        right: int = 7

    @make(frozen=True, slots=True, kw_only=True)
    class Finished:
        one: int
        rest: tuple[int, ...] = field(compare=False, repr=False)

        def __post_init__(self) -> None:
            if self.one < 0:
                raise ValueError(f"one must be 0 or more, not {self.one}")
            object.__setattr__(self, "rest", (*self.rest, self.one))

    for kind in (Named, Pair, Finished):
        kind.__qualname__ = kind.__name__
    return Named, Pair, Finished


OURS = _kinds(_value.dataclass, _value.field)
REAL = _kinds(dataclasses.dataclass, dataclasses.field)
Named, Pair, Finished = OURS
# Pickle looks a class up by its name in this module.

_ARGUMENTS: st.SearchStrategy[Any] = st.one_of(
    st.tuples(
        st.lists(st.integers(-2, 2), max_size=3),
        st.dictionaries(
            st.sampled_from(
                ("width", "name", "note", "line", "left", "right", "one", "rest", "other")
            ),
            st.integers(-2, 2) | st.just((1,)),
            max_size=4,
        ),
    ),
    st.tuples(
        st.just([]),
        st.fixed_dictionaries(
            {"name": st.integers(-2, 2)},
            optional={name: st.integers(-2, 2) for name in ("width", "note", "line")},
        ),
    ),
    st.tuples(st.lists(st.integers(-2, 2), min_size=1, max_size=2), st.just({})),
    st.tuples(
        st.just([]), st.fixed_dictionaries({"one": st.integers(-2, 2), "rest": st.just((3,))})
    ),
)


def _called(kind: type, args: list[Any], values: dict[str, Any]) -> Any:
    try:
        return kind(*args, **values)
    except (TypeError, ValueError) as error:
        return f"{type(error).__name__}: {error}".replace("_kinds.<locals>.", "")


class TestAsDataclasses:
    """A class MUST do with any arguments what a real dataclass of the same text does."""

    @given(st.sampled_from((0, 1, 2)), _ARGUMENTS, _ARGUMENTS)
    def test_made_shown_compared(self, number: int, one: Any, other: Any) -> None:
        mine, real = (
            [_called(kinds[number], *arguments) for arguments in (one, other)]
            for kinds in (OURS, REAL)
        )
        assert [*map(repr, mine)] == [*map(repr, real)]
        assert (mine[0] == mine[1]) is (real[0] == real[1])
        if not any(isinstance(value, str) for value in mine):
            assert (hash(mine[0]) == hash(mine[1])) is (hash(real[0]) == hash(real[1]))
            if number == 1:
                orders = [[a < b, a <= b, a > b, a >= b] for a, b in (tuple(mine), tuple(real))]
                assert orders[0] == orders[1]

    @pytest.mark.parametrize("number", [0, 1, 2])
    def test_looked_at(self, number: int) -> None:
        mine: Any = OURS[number]
        real: Any = REAL[number]
        for name in ("name", "default", "repr", "compare", "init", "kw_only", "type"):
            told = [getattr(one, name) for one in dataclasses.fields(mine)]
            assert told == [getattr(one, name) for one in dataclasses.fields(real)]
        assert str(inspect.signature(mine)).replace("'None'", "None") == str(
            inspect.signature(real)
        )
        assert get_type_hints(mine.__init__) == get_type_hints(real.__init__)
        for name in ("__slots__", "__match_args__", "__name__", "__module__"):
            assert getattr(mine, name) == getattr(real, name)
        assert repr(mine.__dataclass_params__) == repr(real.__dataclass_params__)
        assert mine.__init__.__qualname__ == real.__init__.__qualname__
        assert dataclasses.is_dataclass(mine)

    def test_used(self) -> None:
        value = Named(name="a", line=4, note="n")
        assert value.end == 2
        assert Named.__doc__ == "A value."
        for same in (copy.copy(value), copy.deepcopy(value), pickle.loads(pickle.dumps(value))):
            assert (same, same.line) == (value, 4)
        assert _value.replace(value, width=3) == dataclasses.replace(value, width=3)
        assert dataclasses.asdict(value) == {"width": 1, "name": "a", "note": "n", "line": 4}
        assert value != "a"
        with pytest.raises(TypeError, match="not supported"):
            assert Pair(1) < 1

    def test_nothing_can_be_changed(self) -> None:
        value = Named(name="a")
        with pytest.raises(dataclasses.FrozenInstanceError, match="cannot assign to field 'name'"):
            value.name = "b"
        with pytest.raises(dataclasses.FrozenInstanceError, match="cannot delete field 'name'"):
            del value.name
        with pytest.raises(AttributeError):
            value.other = 1


@pytest.mark.parametrize(("frozen", "slots"), [(True, False), (False, True)])
def test_other_kinds_are_refused(frozen: bool, slots: bool) -> None:
    with pytest.raises(TypeError, match="made here must be frozen and have slots"):
        _value.dataclass(frozen=frozen, slots=slots)
