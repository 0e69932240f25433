"""Single changes of a module's rules and numbers, made on its syntax tree.

A change has a name that stays when other lines move: module, function, what became what, and which
of its kind it is there. Texts that a user reads are left alone, and so are annotations, decorators,
numbers below a millionth (guards of rounding) and what only types read.
"""

from __future__ import annotations

import ast
import copy
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from saltreach.vocabulary import words
from saltreach.vocabulary.metals import MATERIAL_NAMES

SOURCE = Path(__file__).resolve().parents[2] / "src"
ROOMS = ("science", "assessment", "planning", "layers")
"""What is changed: what the product exists for."""

SWAPS: dict[type, type] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq, ast.In: ast.NotIn, ast.NotIn: ast.In, ast.Is: ast.IsNot, ast.IsNot: ast.Is,
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.Pow: ast.Mult,
    ast.FloorDiv: ast.Mult, ast.Mod: ast.Mult, ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd,
    ast.And: ast.Or, ast.Or: ast.And,
}  # fmt: skip
PAIRS = (
    ("minimum", "maximum"), ("fmin", "fmax"), ("min", "max"), ("any", "all"), ("floor", "ceil"),
    ("argmin", "argmax"), ("nlargest", "nsmallest"), ("sin", "cos"), ("idxmin", "idxmax"),
    ("cumsum", "cumprod"), ("exp", "expm1"), ("isin", "isna"), ("first", "last"),
)  # fmt: skip
NAMES = {a: b for pair in PAIRS for a, b in (pair, pair[::-1])}
LISTS = [
    tuple(value)
    for name, value in vars(words).items()
    if name.isupper() and isinstance(value, tuple) and all(isinstance(v, str) for v in value)
] + [tuple(MATERIAL_NAMES)]
WORDS = {
    word: one[(i + 1) % len(one)] for one in LISTS if len(one) > 1 for i, word in enumerate(one)
}
"""Each word of the vocabulary's lists, and the one that takes its place."""
GUARD = 1e-6
SIGNS = {
    ast.Lt: "<", ast.LtE: "<=", ast.Gt: ">", ast.GtE: ">=", ast.Eq: "==", ast.NotEq: "!=",
    ast.In: "in", ast.NotIn: "not in", ast.Is: "is", ast.IsNot: "is not", ast.Add: "+",
    ast.Sub: "-", ast.Mult: "*", ast.Div: "/", ast.Pow: "**", ast.FloorDiv: "//", ast.Mod: "%",
    ast.BitAnd: "&", ast.BitOr: "|", ast.And: "and", ast.Or: "or",
}  # fmt: skip


@dataclass(frozen=True)
class Change:
    """One change of one module."""

    module: str
    function: str  # or the name that is given a value, dotted; empty at the top of a module
    inside: tuple[str, int] | None  # outermost function whose code holds it, and its first line
    lines: range  # of the statement that holds it
    what: str
    number: int
    place: int  # of the node in `ast.walk`
    variant: int

    @property
    def name(self) -> str:
        where = f"{self.module.removeprefix('saltreach.')}:{self.function or 'top'}"
        return f"{where}: {self.what}" + (f" (#{self.number})" if self.number > 1 else "")


def path_of(module: str) -> Path:
    """The file of a module."""
    base = SOURCE / Path(*module.split("."))
    return base / "__init__.py" if base.is_dir() else base.with_suffix(".py")


def modules() -> list[str]:
    """Every module of the rooms, dotted."""
    found = []
    for room in ROOMS:
        for path in sorted((SOURCE / "saltreach" / room).rglob("*.py")):
            parts = path.relative_to(SOURCE).with_suffix("").parts
            found.append(".".join(p for p in parts if p != "__init__"))
    return found


def _replacement(value: object) -> object:
    if isinstance(value, bool):
        return not value
    if isinstance(value, int):
        return value + 1
    if isinstance(value, float):
        return None if 0 < abs(value) < GUARD else value * 1.2 if value else 1.0
    return WORDS.get(value) if isinstance(value, str) else None


def _variants(node: ast.AST) -> Iterator[tuple[str, ast.AST]]:
    """What a node may become, with the words for it; deep copies, the tree stays as it is."""
    short = ast.unparse(node) if isinstance(node, ast.expr | ast.Expr) else ""
    short = " ".join(short.split())
    short = short if len(short) <= 60 else short[:57] + "..."
    if isinstance(node, ast.Constant):
        new = _replacement(node.value)
        if new is not None:
            yield f"{node.value!r} -> {new!r}", ast.Constant(new)
    elif isinstance(node, ast.Compare):
        for i, op in enumerate(node.ops):
            new = copy.deepcopy(node)
            new.ops[i] = SWAPS[type(op)]()
            yield f"{short}: {SIGNS[type(op)]} -> {SIGNS[type(new.ops[i])]}", new
    elif isinstance(node, ast.BinOp | ast.BoolOp) and type(node.op) in SWAPS:
        new = copy.deepcopy(node)
        new.op = SWAPS[type(node.op)]()
        yield f"{short}: {SIGNS[type(node.op)]} -> {SIGNS[type(new.op)]}", new
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not | ast.Invert | ast.USub):
        if not isinstance(node.operand, ast.Constant):
            yield f"{short}: sign left out", copy.deepcopy(node.operand)
    elif isinstance(node, ast.Attribute) and node.attr in NAMES:
        new = copy.deepcopy(node)
        new.attr = NAMES[node.attr]
        yield f"{short}: {node.attr} -> {new.attr}", new
    elif isinstance(node, ast.Name) and node.id in NAMES and isinstance(node.ctx, ast.Load):
        yield f"{node.id} -> {NAMES[node.id]}", ast.Name(NAMES[node.id], ast.Load())
    elif isinstance(node, ast.Call) and len(node.args) == 3 and short.startswith("np.where("):
        new = copy.deepcopy(node)
        new.args[1], new.args[2] = new.args[2], new.args[1]
        yield f"{short}: cases swapped", new
    elif isinstance(node, ast.IfExp):
        new = copy.deepcopy(node)
        new.body, new.orelse = new.orelse, new.body
        yield f"{short}: cases swapped", new
    elif isinstance(node, ast.If | ast.While) and isinstance(node.test, ast.Name | ast.Call):
        new = copy.deepcopy(node)
        new.test = ast.UnaryOp(ast.Not(), new.test)
        yield f"if {ast.unparse(node.test)[:50]}: turned", new
    elif isinstance(node, ast.Expr) and isinstance(node.value, ast.Call):
        yield f"left out: {short}", ast.Pass()


def _skipped(node: ast.AST) -> set[int]:
    """Nodes below one that are not changed: annotations, texts of errors, types, checks."""
    below: list[ast.AST | None] = []
    if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
        every = [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]
        below += [node.returns, *node.decorator_list, *(a.annotation for a in every)]
    elif isinstance(node, ast.ClassDef):
        below += node.decorator_list
    elif isinstance(node, ast.AnnAssign):
        below.append(node.annotation)
    elif isinstance(node, ast.Raise):
        below.append(node.exc)
    elif isinstance(node, ast.JoinedStr):
        below += [v.format_spec for v in node.values if isinstance(v, ast.FormattedValue)]
    elif isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING":
        below.append(node)
    elif isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
        below.append(node.value)
    elif isinstance(node, ast.Call) and ast.unparse(node.func) in ("cast", "TypeVar"):
        below.append(node)
    elif isinstance(node, ast.Call) and ast.unparse(node.func) == "zip":
        # strict: a slip of ours, which no input reaches, is all that it could find
        below += node.keywords
    return {id(n) for top in below if top is not None for n in ast.walk(top)}


def source_of(module: str) -> str:
    """The text of a module."""
    return path_of(module).read_text(encoding="utf-8")


def changes(module: str, source: str | None = None) -> list[Change]:
    """Every change of a module, or of a text in its place."""
    tree = ast.parse(source_of(module) if source is None else source)
    skipped: set[int] = set()
    home: dict[int, tuple[str, tuple[str, int] | None, range]] = {}

    def walk(node: ast.AST, function: str, inside: tuple[str, int] | None, lines: range) -> None:
        if isinstance(node, ast.stmt):
            body = getattr(node, "body", None)
            last = body[0].lineno - 1 if body else node.end_lineno
            lines = range(node.lineno, max(last or 0, node.lineno) + 1)
        home[id(node)] = function, inside, lines
        skipped.update(_skipped(node))
        for name, value in ast.iter_fields(node):
            for child in value if isinstance(value, list) else [value]:
                if not isinstance(child, ast.AST):
                    continue
                own, outer = function, inside
                if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                    own = f"{function}.{node.name}".strip(".")
                    first = min([node.lineno, *(d.lineno for d in node.decorator_list)])
                    if inside is None and name == "body":
                        outer = own, first
                elif isinstance(node, ast.ClassDef):
                    own = f"{function}.{node.name}".strip(".")
                elif isinstance(node, ast.Assign | ast.AnnAssign) and inside is None:
                    targets = node.targets if isinstance(node, ast.Assign) else [node.target]
                    own = f"{function}.{ast.unparse(targets[0])}".strip(".")
                walk(child, own, outer, lines)

    walk(tree, "", None, range(0))
    seen: Counter[tuple[str, str]] = Counter()
    found = []
    for place, node in enumerate(ast.walk(tree)):
        if id(node) in skipped:
            continue
        function, inside, lines = home[id(node)]
        for variant, (what, _) in enumerate(_variants(node)):
            seen[function, what] += 1
            number = seen[function, what]
            found.append(Change(module, function, inside, lines, what, number, place, variant))
    return found


def changed(change: Change, source: str | None = None) -> ast.Module:
    """The module's tree, or that of a text in its place, with one change."""
    tree = ast.parse(source_of(change.module) if source is None else source)
    old = next(n for i, n in enumerate(ast.walk(tree)) if i == change.place)
    _, new = list(_variants(old))[change.variant]
    ast.copy_location(new, old)

    class Put(ast.NodeTransformer):
        def visit(self, node: ast.AST) -> ast.AST:
            return new if node is old else self.generic_visit(node)

    return ast.fix_missing_locations(Put().visit(tree))
