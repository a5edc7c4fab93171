"""Lets equal strings be one object, in all modules.

MicroPython keeps one copy of a string that is written like a name and is at most ten letters long, or that stands in
the same source as a name before. A tuple that is known when compiled brings its own copies along, and stays for as
long as its module: one that is built when the module starts does neither.
"""

import ast
import re

_LETTERS_FREE = 10
_WORD = re.compile(r"[A-Za-z_][A-Za-z_0-9]*")


def intern(module: ast.Module) -> None:
    """Make a module's words and its tables' words shared ones, in place."""
    builder = _Builder()
    module.body = [builder.visit(line) for line in module.body]
    words = sorted({word for word in _strings(module) if len(word) > _LETTERS_FREE and _WORD.fullmatch(word)})
    if words:
        never: list[ast.stmt] = [ast.Expr(ast.Name(word, ast.Load())) for word in words]
        module.body.insert(0, ast.If(ast.Constant(0), never, []))


def _strings(module: ast.Module) -> set[str]:
    return {
        node.value
        for node in ast.walk(module)
        if isinstance(node, ast.Constant) and isinstance(node.value, str)
    }


class _Builder(ast.NodeTransformer):
    """Lets tuples outside functions be built at run time, by one element that is no constant."""

    def visit_FunctionDef(self, node: ast.FunctionDef) -> ast.AST:  # noqa: N802 - ast names it so
        """Leave functions alone: theirs would be built at each call."""
        return node

    def visit_Lambda(self, node: ast.Lambda) -> ast.AST:  # noqa: N802 - ast names it so
        """Leave these alone as well."""
        return node

    def visit_Tuple(self, node: ast.Tuple) -> ast.AST:  # noqa: N802 - ast names it so
        """Wrap a constant tuple's first element."""
        self.generic_visit(node)
        if node.elts and all(map(_is_constant, node.elts)):
            first = ast.List([node.elts[0]], ast.Load())
            node.elts[0] = ast.Subscript(first, ast.Constant(0), ast.Load())
        return node


def _is_constant(node: ast.expr) -> bool:
    return isinstance(node.operand if isinstance(node, ast.UnaryOp) else node, ast.Constant)
