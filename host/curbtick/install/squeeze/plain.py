"""A module without docstrings and annotations, which MicroPython would drop as well, and without what they import."""

import ast
from typing import Any


def strip(module: ast.Module) -> ast.Module:
    """The module without docstrings, and without annotations but those of machine code, which say its types."""
    stripped = _Stripper().visit(module)
    assert isinstance(stripped, ast.Module)
    return stripped


def is_machine_code(function: ast.FunctionDef) -> bool:
    """Whether a function is compiled to the chip's own code."""
    return any(isinstance(word, ast.Attribute) and word.attr == "viper" for word in function.decorator_list)


def is_text(node: ast.stmt) -> bool:
    """Whether a statement is a string alone."""
    return (
        isinstance(node, ast.Expr)
        and isinstance(node.value, ast.Constant)
        and isinstance(node.value.value, str)
    )


def _returned_at_once(body: list[ast.stmt]) -> list[ast.stmt]:
    """A body whose end `name: T = value; return name`, which is there for the type alone, is `return value`."""
    match body:
        case [
            *before,
            ast.AnnAssign(target=ast.Name(id=name), value=ast.expr() as value),
            ast.Return(value=ast.Name(id=returned)),
        ] if name == returned:
            return [*before, ast.Return(value)]
    return body


class _Stripper(ast.NodeTransformer):
    """Visits a module once."""

    def generic_visit(self, node: ast.AST) -> ast.AST:
        """Drop strings that stand alone; an emptied body becomes `pass`."""
        body: Any = getattr(node, "body", None)
        if isinstance(body, list):
            body[:] = _returned_at_once(body)
        super().generic_visit(node)
        if isinstance(body, list):
            body[:] = [line for line in body if not is_text(line)]
            if not body and not isinstance(node, ast.Module):
                body.append(ast.Pass())
        return node

    def visit_FunctionDef(self, node: ast.FunctionDef) -> ast.AST:  # noqa: N802 - ast names it so
        """Drop a function's annotations unless they are its types."""
        if not is_machine_code(node):
            node.returns = None
            for argument in ast.walk(node.args):
                if isinstance(argument, ast.arg):
                    argument.annotation = None
        return self.generic_visit(node)

    def visit_AnnAssign(self, node: ast.AnnAssign) -> ast.AST | None:  # noqa: N802 - ast names it so
        """Make an annotated assignment a plain one."""
        self.generic_visit(node)
        if node.value is None:
            return None
        return ast.Assign([node.target], node.value)
