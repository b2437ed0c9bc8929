"""What a mutant can be: one small change to one node of a file's syntax tree. No words are changed, only what
decides: comparisons, conditions, sums, numbers, answers, calls for their effect, tables, and what `replace` sets."""

from __future__ import annotations

import ast
import copy
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from typing import Any

_COMPARE: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.LtE,
    ast.LtE: ast.Lt,
    ast.Gt: ast.GtE,
    ast.GtE: ast.Gt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot,
    ast.IsNot: ast.Is,
    ast.In: ast.NotIn,
    ast.NotIn: ast.In,
}
_SUMS: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.FloorDiv,
    ast.Div: ast.Mult,
    ast.FloorDiv: ast.Mult,
    ast.Mod: ast.Mult,
    ast.BitOr: ast.BitAnd,
    ast.BitAnd: ast.BitOr,
}
_FUNCTIONS = (ast.FunctionDef, ast.AsyncFunctionDef, ast.Lambda)


@dataclass(frozen=True)
class Mutant:
    """One change. `number` counts the mutants of the file in order, so that file and number name it."""

    file: str
    number: int
    line: int
    begins: int  # the line of the statement that it stands in
    change: str
    inside: bool  # within a function: can be put into a running process


def mutants(file: str, source: str) -> list[Mutant]:
    """Every mutant of a file, in the order of its lines."""
    return [
        Mutant(
            file, number, getattr(node, "lineno", begins), begins, f"{_short(node)} -> {_short(new)}", inside
        )
        for number, (node, new, begins, inside) in enumerate(_changes(ast.parse(source)))
    ]


def mutated(source: str, number: int) -> ast.Module:
    """The file's tree with its mutant `number` in it."""
    tree = ast.parse(source)
    for at, (node, new, _, _) in enumerate(_changes(tree)):
        if at == number:
            _Replace(node, new).visit(tree)  # never the module itself: it stays the same object
            return ast.fix_missing_locations(tree)
    raise IndexError(f"no mutant {number}")


class _Replace(ast.NodeTransformer):
    def __init__(self, node: ast.AST, new: ast.AST) -> None:
        self.node, self.new = node, new

    def visit(self, node: ast.AST) -> ast.AST:
        return ast.copy_location(self.new, node) if node is self.node else self.generic_visit(node)


def _short(node: ast.AST) -> str:
    text = " ".join(ast.unparse(node).split())
    return text if len(text) <= 70 else f"{text[:67]}..."


def _changes(tree: ast.Module) -> Iterator[tuple[ast.AST, ast.AST, int, bool]]:
    """Node, what comes in its place, the line of its statement, whether that lies inside a function; every change
    once, in a fixed order."""

    def walk(node: ast.AST, begins: int, inside: bool) -> Iterator[tuple[ast.AST, ast.AST, int, bool]]:
        begins = node.lineno if isinstance(node, ast.stmt) else begins
        for new in _variants(node):
            yield node, new, begins, inside
        for name, value in ast.iter_fields(node):
            if name in ("annotation", "returns", "decorator_list", "type_params"):
                continue
            if isinstance(node, ast.Assign) and any(getattr(t, "id", "") == "__all__" for t in node.targets):
                continue
            within = inside or (isinstance(node, _FUNCTIONS) and name == "body")
            for child in value if isinstance(value, list) else [value]:
                if isinstance(child, ast.AST):
                    yield from walk(child, begins, within)

    yield from walk(tree, 0, False)


def _with(node: ast.AST, change: Callable[[Any], object]) -> ast.AST:
    new = copy.deepcopy(node)
    change(new)
    return new


def _variants(node: Any) -> Iterator[ast.AST]:
    """What may come in the place of this node."""
    if isinstance(node, ast.Compare):
        for at, operator in enumerate(node.ops):
            if other_way := _COMPARE.get(type(operator)):
                yield _with(node, partial(_turn, at=at, to=other_way))
    elif isinstance(node, ast.BoolOp):
        other = ast.Or if isinstance(node.op, ast.And) else ast.And
        yield _with(node, lambda new: setattr(new, "op", other()))
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, (ast.Not, ast.USub)):
        yield copy.deepcopy(node.operand)
    elif isinstance(node, ast.BinOp | ast.AugAssign) and type(node.op) in _SUMS and not _is_text(node):
        yield _with(node, lambda new: setattr(new, "op", _SUMS[type(new.op)]()))
    elif isinstance(node, ast.Constant) and isinstance(node.value, bool):
        yield ast.Constant(not node.value)
    elif isinstance(node, ast.Constant) and isinstance(node.value, int):
        yield ast.Constant(node.value + 1)
    elif isinstance(node, ast.If) and getattr(node.test, "id", "") != "TYPE_CHECKING":
        for answer in (True, False):
            yield _with(node, partial(_answer, to=answer))
    elif isinstance(node, ast.IfExp):
        yield _with(node, lambda new: setattr(new, "test", ast.UnaryOp(ast.Not(), new.test)))
    elif isinstance(node, ast.Return) and not (node.value is None or isinstance(node.value, ast.Constant)):
        yield _with(node, lambda new: setattr(new, "value", ast.Constant(None)))
    elif isinstance(node, ast.Expr) and isinstance(node.value, ast.Call):
        yield ast.Pass()
    elif isinstance(node, ast.Continue):
        yield ast.Break()
    elif isinstance(node, ast.comprehension) and node.ifs:
        yield _with(node, lambda new: setattr(new, "ifs", new.ifs[1:]))
    elif isinstance(node, (ast.Tuple, ast.List, ast.Set)) and len(node.elts) > 1 and _loads(node):
        yield _with(node, lambda new: setattr(new, "elts", new.elts[:-1]))
    elif isinstance(node, ast.Call) and getattr(node.func, "attr", getattr(node.func, "id", "")) == "replace":
        for at in range(len(node.keywords)):
            yield _with(node, partial(_drop, at=at))


def _turn(new: Any, at: int, to: type[ast.cmpop]) -> None:
    new.ops[at] = to()


def _answer(new: Any, to: bool) -> None:
    new.test = ast.Constant(to)


def _drop(new: Any, at: int) -> None:
    new.keywords.pop(at)


def _loads(node: ast.AST) -> bool:
    return isinstance(getattr(node, "ctx", ast.Load()), ast.Load)


def _is_text(node: ast.BinOp | ast.AugAssign) -> bool:
    parts = (node.left, node.right) if isinstance(node, ast.BinOp) else (node.value,)
    return any(
        isinstance(part, ast.JoinedStr) or isinstance(getattr(part, "value", None), str) for part in parts
    )
