"""Classes of values that cost little at start-up: every ``check`` imports those made here.

``dataclasses`` writes six functions of each class as text, has them compiled one by one, and
imports inspect: that was 30 of the 105 ms of a check. A class made here has one function written
for it, once it is looked up, and shares the text of the others: most classes make no value in a
run. Its ``dataclasses.fields`` are those of a real dataclass, which is made when somebody asks.

``typing.NamedTuple`` makes a type of each annotation, and has a function written at once; one made
here keeps annotations as they are written, and has its function written once it is looked up.
"""

from __future__ import annotations

from collections import namedtuple
from operator import attrgetter, eq, ge, gt, le, lt
from sys import modules, version_info

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from typing import Any, NoReturn

__all__ = ["NamedTuple", "dataclass", "field", "replace"]


class _Options(dict[str, object]):
    """What ``field`` was told: the default of a field, whether it is compared and shown."""


def _loose(told: _Options) -> dict[str, Any]:
    """Return the same with values that a type checker does not ask about."""
    return told


class _Real:
    """An attribute of the real dataclass, which is made when somebody asks for the attribute."""

    def __init__(self, name: str, cls: type, options: dict[str, _Options], **how: bool) -> None:
        self._told = name, cls, options, how

    def __get__(self, _instance: object, owner: type) -> Any:
        import dataclasses

        name, cls, options, how = self._told
        body = {
            "__annotations__": cls.__annotations__,
            "__doc__": cls.__doc__,
            "__module__": cls.__module__,
            **{field: dataclasses.field(**_loose(told)) for field, told in options.items()},
        }
        make = dataclasses.dataclass(frozen=True, slots=True, **how)
        answer = getattr(make(type(cls.__name__, (), body)), name)
        setattr(owner, name, answer)
        return answer


class _Written:
    """A function of a class that is written when somebody looks it up, as the first call does."""

    def __init__(self, owner: Any, qualname: str, write: Callable[[], Any]) -> None:
        name = qualname.rpartition(".")[2]
        self._told = owner, name, qualname, write
        setattr(owner, name, self)

    def __get__(self, instance: object, owner: type) -> Any:
        # ``owner`` may be a class below the one it belongs to.
        made, name, qualname, write = self._told
        written = write()
        written.__name__, written.__qualname__ = name, qualname
        if name == "__new__":
            written = staticmethod(written)
        setattr(made, name, written)
        return written.__get__(instance, owner)


def _dataclass(
    *, frozen: bool, slots: bool, kw_only: bool = False, order: bool = False
) -> Callable[[type], type]:
    """Stand for ``dataclasses.dataclass``, for classes that are frozen and have slots."""
    if not (frozen and slots):
        raise TypeError("a class made here must be frozen and have slots")
    return lambda cls: _made(cls, kw_only, order)


def _replace(value: Any, /, **changes: Any) -> Any:
    """Stand for ``dataclasses.replace``, for values with slots."""
    kind = type(value)
    return kind(**{name: getattr(value, name) for name in kind.__slots__} | changes)


def _made(cls: type, kw_only: bool, order: bool) -> type:
    """Return the class anew, with slots and the functions of a frozen dataclass."""
    names = tuple(cls.__annotations__)
    body = dict(vars(cls))
    del body["__dict__"], body["__weakref__"]
    options = {name: _options(body.pop(name)) for name in names if name in body}
    nothing = _Options()
    functions = _functions(
        [name for name in names if options.get(name, nothing).get("compare", True)],
        [name for name in names if options.get(name, nothing).get("repr", True)],
        order,
    )
    # What a class defines itself stays, as in a dataclass.
    body |= {name: one for name, one in functions.items() if body.get(name) is None}
    for name in ("__dataclass_fields__", "__dataclass_params__"):
        body[name] = _Real(name, cls, options, kw_only=kw_only, order=order)
    body["__qualname__"] = cls.__qualname__
    body["__slots__"] = names
    body["__match_args__"] = () if kw_only else names
    made: Any = type(cls)(cls.__name__, cls.__bases__, body)
    _Written(made, f"{cls.__qualname__}.__init__", lambda: _init(made, options, kw_only))
    return made  # type: ignore[no-any-return]


def _options(value: object) -> _Options:
    return value if isinstance(value, _Options) else _Options(default=value)


def _init(made: Any, options: dict[str, _Options], kw_only: bool) -> Callable[..., None]:
    """Return ``__init__``: its text holds names only, and what they mean is handed in."""
    names = made.__slots__
    known = {f"_put_{name}": getattr(made, name).__set__ for name in names}
    known |= {f"_or_{name}": told["default"] for name, told in options.items() if "default" in told}
    parameters = [f"{name}=_or_{name}" if f"_or_{name}" in known else name for name in names]
    lines = [
        f"def _with({', '.join(known)}):",
        f" def __init__(self, {'*, ' if kw_only else ''}{', '.join(parameters)}):",
        *[f"  _put_{name}(self, {name})" for name in names],
        "  self.__post_init__()" if hasattr(made, "__post_init__") else "",
        " return __init__",
    ]
    local: dict[str, Any] = {}
    exec("\n".join(lines), vars(modules[made.__module__]), local)
    init: Any = local["_with"](**known)
    init.__annotations__ = {**made.__annotations__, "return": "None"}
    return init  # type: ignore[no-any-return]


def _functions(compared: list[str], shown: list[str], order: bool) -> dict[str, Any]:
    """Return what the classes do besides ``__init__``."""
    key = attrgetter(*compared)

    def comparison(operator: Callable[[Any, Any], bool]) -> Callable[[Any, Any], Any]:
        def compare(self: object, other: object) -> Any:
            if other.__class__ is not self.__class__:
                return NotImplemented
            return operator(key(self), key(other))

        return compare

    def look(self: object) -> str:
        fields = ", ".join([f"{name}={getattr(self, name)!r}" for name in shown])
        return f"{self.__class__.__qualname__}({fields})"

    functions = {
        "__eq__": comparison(eq),
        "__hash__": lambda self: hash(key(self)),
        "__repr__": look,
        "__setattr__": lambda _self, name, _value: _refuse("assign to", name),
        "__delattr__": lambda _self, name: _refuse("delete", name),
        "__getstate__": lambda self: [getattr(self, name) for name in self.__slots__],
        "__setstate__": _restore,
    }
    if order:
        functions |= {f"__{one.__name__}__": comparison(one) for one in (lt, le, gt, ge)}
    return functions


def _refuse(verb: str, name: str) -> NoReturn:
    from dataclasses import FrozenInstanceError

    raise FrozenInstanceError(f"cannot {verb} field {name!r}")


def _restore(self: object, state: Iterable[object]) -> None:
    for name, value in zip(self.__class__.__slots__, state, strict=True):  # type: ignore[attr-defined]
        object.__setattr__(self, name, value)


def _field(**told: Any) -> Any:
    """Stand for ``dataclasses.field``: ``default``, ``compare`` and ``repr`` are known here."""
    return _Options(told)


class _NamedTupleMeta(type):
    """Makes named tuples of the classes below ``_NamedTuple``."""

    def __new__(cls, name: str, bases: tuple[type, ...], body: dict[str, Any]) -> Any:
        if not bases:
            return super().__new__(cls, name, bases, body)
        fields = body["__annotations__"]
        names = tuple(fields)
        defaults = {one: body.pop(one) for one in names if one in body}
        shared = {
            "__doc__": f"{name}({', '.join(names)})",
            "__slots__": (),
            "__match_args__": names,
            "_fields": names,
            "_field_defaults": defaults,
            **_OF_ROWS,
        }
        made = type(
            name, (tuple,), shared | body | dict(zip(names, _COLUMNS[: len(names)], strict=True))
        )
        _Written(made, f"{name}.__new__", lambda: _new(made))
        return made


def _new(made: Any) -> Any:
    """Return ``__new__`` of a named tuple, written with the names of its fields."""
    names, defaults = made._fields, made._field_defaults
    known = {f"_or_{name}": value for name, value in defaults.items()}
    parameters = [f"{name}=_or_{name}" if name in defaults else name for name in names]
    text = f"lambda _cls, {', '.join(parameters)}: _row(_cls, ({', '.join(names)},))"
    new = eval(text, {"_row": tuple.__new__, "__name__": made.__module__, **known})
    new.__annotations__ = made.__annotations__
    return new


def _row_of(cls: Any, values: Iterable[object]) -> Any:
    row = tuple.__new__(cls, values)
    if len(row) != len(cls._fields):
        raise TypeError(f"Expected {len(cls._fields)} arguments, got {len(row)}")
    return row


def _row_replaced(row: Any, /, **changes: object) -> Any:
    made = row._make(map(changes.pop, row._fields, row))
    if changes:
        error = TypeError if version_info >= (3, 13) else ValueError
        raise error(f"Got unexpected field names: {list(changes)!r}")
    return made


def _row_shown(row: Any) -> str:
    shown = [f"{name}={value!r}" for name, value in row._asdict().items()]
    return f"{row.__class__.__name__}({', '.join(shown)})"


_OF_ROWS: dict[str, Any] = {
    "_make": classmethod(_row_of),
    "_replace": _row_replaced,
    "_asdict": lambda row: dict(zip(row._fields, row, strict=True)),
    "__getnewargs__": lambda row: tuple(row),
    "__repr__": _row_shown,
}
"""What ``collections.namedtuple`` writes for each class, once for all of them."""

_named: Any = namedtuple  # Type checkers know it with literal names only.
_Sixteen = _named("_Sixteen", [f"at_{number}" for number in range(16)])
_COLUMNS: list[object] = [getattr(_Sixteen, name) for name in _Sixteen._fields]
"""What reads a field of a row by its position: the same in every class, 16 fields at most."""


class _NamedTuple(metaclass=_NamedTupleMeta):
    """Stand for ``typing.NamedTuple``, for classes without another base."""


if TYPE_CHECKING:
    from dataclasses import dataclass, field, replace
    from typing import NamedTuple
else:
    dataclass, field, replace = _dataclass, _field, _replace
    NamedTuple = _NamedTuple
