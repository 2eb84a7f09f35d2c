"""Small wrong changes of a Python file, one at a time. Texts are left alone: they would only flatter the result."""

import ast
import copy
from collections.abc import Iterator
from typing import NamedTuple

SWAPS: dict[type, type] = {
    ast.Lt: ast.LtE,
    ast.LtE: ast.Lt,
    ast.Gt: ast.GtE,
    ast.GtE: ast.Gt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.In: ast.NotIn,
    ast.NotIn: ast.In,
    ast.Is: ast.IsNot,
    ast.IsNot: ast.Is,
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.And: ast.Or,
    ast.Or: ast.And,
}


class Mutant(NamedTuple):
    line: int
    change: str
    source: str


def mutants(source: str) -> Iterator[Mutant]:
    """Every mutant of a module, in the order of its lines as the tree is walked."""
    tree = ast.parse(source)
    for number, node in enumerate(ast.walk(tree)):
        for change, changed in _changes(node):
            other = copy.deepcopy(tree)
            _replace(other, number, changed)
            yield Mutant(getattr(node, "lineno", 0), change, ast.unparse(ast.fix_missing_locations(other)))


def _changes(node: ast.AST) -> Iterator[tuple[str, ast.AST]]:
    """(what is changed, the node in its place)."""
    match node:
        case ast.Compare(ops=[op, *_]) | ast.BinOp(op=op) | ast.BoolOp(op=op) if type(op) in SWAPS:
            other = copy.deepcopy(node)
            swapped = SWAPS[type(op)]()
            if isinstance(other, ast.Compare):
                other.ops[0] = swapped
            else:
                other.op = swapped  # type: ignore[attr-defined]
            yield f"{type(op).__name__} -> {type(swapped).__name__}", other
        case ast.UnaryOp(op=ast.Not() | ast.USub(), operand=operand):
            yield f"{type(node.op).__name__} left out", operand
        case ast.Constant(value=bool(value)):
            yield f"{value} -> {not value}", ast.Constant(not value)
        case ast.Constant(value=int(value) | float(value)):
            yield f"{value} -> {value + 1}", ast.Constant(value + 1)
        case ast.Return(value=ast.expr() as value) if not (isinstance(value, ast.Constant) and value.value is None):
            yield "returns None", ast.Return(ast.Constant(None))
        case ast.Expr(value=ast.Call()) | ast.AugAssign():
            yield "statement left out", ast.Pass()
        case ast.Continue():
            yield "continue -> break", ast.Break()
        case ast.Break():
            yield "break -> continue", ast.Continue()


def _replace(tree: ast.AST, number: int, changed: ast.AST) -> None:
    """Put `changed` in the place of the node that ast.walk gives as `number`."""
    target = next(node for at, node in enumerate(ast.walk(tree)) if at == number)
    for parent in ast.walk(tree):
        for name, value in ast.iter_fields(parent):
            if value is target:
                setattr(parent, name, changed)
            elif isinstance(value, list):
                value[:] = [changed if one is target else one for one in value]
