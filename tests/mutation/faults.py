"""The faults: each is another expression or statement in the place of one, the rest of the file
stays as it is."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from typing import NamedTuple

__all__ = ["Fault", "faults"]

_COMPARE: dict[type[ast.cmpop], tuple[type[ast.cmpop], ...]] = {
    ast.Lt: (ast.LtE, ast.GtE),
    ast.LtE: (ast.Lt, ast.Gt),
    ast.Gt: (ast.GtE, ast.LtE),
    ast.GtE: (ast.Gt, ast.Lt),
    ast.Eq: (ast.NotEq,),
    ast.NotEq: (ast.Eq,),
    ast.Is: (ast.IsNot,),
    ast.IsNot: (ast.Is,),
    ast.In: (ast.NotIn,),
    ast.NotIn: (ast.In,),
}
_BINARY: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.FloorDiv,
    ast.FloorDiv: ast.Mult,
    ast.Mod: ast.FloorDiv,
    ast.LShift: ast.RShift,
    ast.RShift: ast.LShift,
    ast.BitAnd: ast.BitOr,
    ast.BitOr: ast.BitAnd,
    ast.BitXor: ast.BitOr,
}
_CALLS = {"min": "max", "max": "min", "any": "all", "all": "any"}


class Fault(NamedTuple):
    """A fault: where it stands, the text there, and the text in its place."""

    line: int
    start: int
    end: int
    old: str
    new: str

    def put_into(self, octets: bytes) -> bytes:
        """Return a source with the fault in it."""
        return octets[: self.start] + self.new.encode() + octets[self.end :]

    def __str__(self) -> str:
        return f"{self.line}: {_short(self.old)}  ->  {_short(self.new)}"


def _short(text: str) -> str:
    words = " ".join(text.split())
    return words if len(words) < 90 else f"{words[:87]}..."


def faults(octets: bytes) -> list[Fault]:
    """Return every fault for a source, in the order of places.

    Left alone are texts, annotations, imports, ``__all__``, whatever an error says, and what only
    a type checker looks at.
    """
    offsets = [0]
    for line in octets.splitlines(keepends=True):
        offsets.append(offsets[-1] + len(line))
    found = set()
    for node, new in _nodes(ast.parse(octets)):
        end_line, end_column = node.end_lineno, node.end_col_offset
        assert end_line is not None
        assert end_column is not None
        start = offsets[node.lineno - 1] + node.col_offset
        end = offsets[end_line - 1] + end_column
        text = ast.unparse(new)
        if text == ast.unparse(node):
            continue
        text = f"({text})" if isinstance(new, ast.expr) else text
        found.add(Fault(node.lineno, start, end, octets[start:end].decode(), text))
    return sorted(found)


_Place = ast.expr | ast.stmt


def _nodes(tree: ast.AST) -> Iterator[tuple[_Place, _Place]]:
    """Yield every (node, node in its place)."""
    for child in _children(tree):
        if isinstance(child, ast.stmt):
            yield from ((child, new) for new in _statement(child))
        elif isinstance(child, ast.expr):
            yield from ((child, new) for new in _expression(child))
        yield from _nodes(child)


def _children(node: ast.AST) -> Iterator[ast.AST]:
    """Yield what faults may be put into below a node."""
    if isinstance(node, ast.Import | ast.ImportFrom | ast.Raise | ast.Assert | ast.JoinedStr):
        return
    if isinstance(node, ast.keyword) and node.arg == "strict":
        return  # Of two sequences that are equally long it changes nothing.
    if isinstance(node, ast.Assign) and _names(node.targets[0]) == ["__all__"]:
        return
    if isinstance(node, ast.If) and _names(node.test) == ["TYPE_CHECKING"]:
        return
    for name, value in ast.iter_fields(node):
        if name in ("annotation", "returns", "decorator_list", "bases", "keywords_of", "ctx"):
            continue
        for one in value if isinstance(value, list) else [value]:
            if isinstance(one, ast.AST):
                yield one


def _names(node: ast.AST) -> list[str]:
    return [node.id] if isinstance(node, ast.Name) else []


def _statement(node: ast.stmt) -> Iterator[ast.stmt]:
    match node:
        case ast.Expr(value=ast.Constant()):
            return  # A docstring.
        case ast.Expr() | ast.AugAssign() | ast.Break() | ast.Delete():
            yield ast.Pass()
        case ast.Continue():
            yield ast.Pass()
            yield ast.Break()
        case ast.Return(value=value) if value is not None and not _is(value, None):
            yield ast.Return(value=ast.Constant(None))
            if not isinstance(value, ast.Constant):
                yield ast.Return(value=ast.UnaryOp(ast.Not(), value))
        case ast.Assign(targets=[ast.Attribute() | ast.Subscript()]):
            yield ast.Pass()


def _expression(node: ast.expr) -> Iterator[ast.expr]:
    match node:
        case ast.Compare(left=left, ops=[op], comparators=right):
            for other in _COMPARE[type(op)]:
                yield ast.Compare(left, [other()], right)
        case ast.Compare(left=left, ops=ops, comparators=right):
            for number, op in enumerate(ops):
                for other in _COMPARE[type(op)]:
                    made = [*ops[:number], other(), *ops[number + 1 :]]
                    yield ast.Compare(left, made, right)
        case ast.BoolOp(op=op, values=values):
            yield ast.BoolOp(ast.And() if isinstance(op, ast.Or) else ast.Or(), values)
            for number in range(len(values)):
                rest = [*values[:number], *values[number + 1 :]]
                yield rest[0] if len(rest) == 1 else ast.BoolOp(op, rest)
        case ast.UnaryOp(op=ast.Not() | ast.USub() | ast.Invert(), operand=operand):
            yield operand
        case ast.IfExp(test=test, body=body, orelse=orelse):
            yield ast.IfExp(test, orelse, body)
        case ast.BinOp(left=left, op=op, right=right) if type(op) in _BINARY:
            if not isinstance(left, ast.Constant) or not isinstance(left.value, str | bytes):
                yield ast.BinOp(left, _BINARY[type(op)](), right)
        case ast.Constant(value=bool(value)):
            yield ast.Constant(not value)
        case ast.Constant(value=int(value)):
            yield ast.Constant(value + 1)
            yield ast.BinOp(ast.Constant(value), ast.Sub(), ast.Constant(1))
        case ast.Call(func=ast.Name(id=name), args=args, keywords=words) if name in _CALLS:
            yield ast.Call(ast.Name(_CALLS[name]), args, words)
        case ast.Call(func=func, args=[first, second, *rest], keywords=words):
            if not any(isinstance(one, ast.Starred) for one in (first, second)):
                yield ast.Call(func, [second, first, *rest], words)
        case ast.GeneratorExp() | ast.ListComp() | ast.SetComp():
            yield from _unfiltered(node)


def _unfiltered(node: ast.GeneratorExp | ast.ListComp | ast.SetComp) -> Iterator[ast.expr]:
    for number, part in enumerate(node.generators):
        if part.ifs:
            rest = ast.comprehension(part.target, part.iter, part.ifs[1:], part.is_async)
            made = [*node.generators[:number], rest, *node.generators[number + 1 :]]
            yield type(node)(node.elt, made)


def _is(node: ast.expr, value: object) -> bool:
    return isinstance(node, ast.Constant) and node.value is value
