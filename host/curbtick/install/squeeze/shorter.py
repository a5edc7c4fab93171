"""The same few names for the private names and the arguments of all modules: a chip keeps every name once."""

import ast
import itertools
from collections import Counter
from collections.abc import Iterator

from curbtick.install.squeeze import spare
from curbtick.install.squeeze.modules import Program
from curbtick.install.squeeze.scopes import bound_at_top


def shorten(program: Program) -> None:
    """Rename private names and arguments, in place, to words that the program has anyhow."""
    fixed = _fixed(program)
    keywords = {
        node.arg
        for module in program.values()
        for node in ast.walk(module)
        if isinstance(node, ast.keyword) and node.arg
    }
    for_attributes, for_variables = spare.for_attributes(program), spare.for_variables(program)
    for module in program.values():
        used_names = spare.variables(module) | fixed
        # What stands at a module's top gets another name when modules are joined.
        left = fixed | bound_at_top(module)
        own = [word for word in _private(module) if word not in left]
        _Renamer(dict(zip(own, _fresh(for_attributes, used_names), strict=False))).visit(module)
        for node in ast.walk(module):
            if isinstance(node, ast.FunctionDef):
                _shorten_arguments(node, keywords, for_variables)


def _fresh(words: list[str], used_names: set[str]) -> Iterator[str]:
    return (word for word in itertools.chain(words, spare.new_words()) if word not in used_names)


def is_private(word: str) -> bool:
    """Whether a name is private to its module."""
    return word.startswith("_") and not word.startswith("__")


def _private(module: ast.Module) -> list[str]:
    """The private names a module binds, the most used ones first."""
    bound: set[str] = set()
    used: Counter[str] = Counter()
    for node in ast.walk(module):
        match node:
            case ast.Name(id=word, ctx=ctx) | ast.Attribute(attr=word, ctx=ctx):
                used[word] += 1
                if not isinstance(ctx, ast.Load):
                    bound.add(word)
            case ast.FunctionDef(name=word) | ast.ClassDef(name=word):
                bound.add(word)
    return sorted(filter(is_private, bound), key=lambda word: (-used[word], word))


def _fixed(program: Program) -> set[str]:
    """Private names that must stay: those taken from another module or of a foreign object, and those in strings."""
    words: set[str] = set()
    for module in program.values():
        bound = set(_private(module))
        for node in ast.walk(module):
            match node:
                case ast.alias(name=word) | ast.Constant(value=str() as word):
                    words.add(word)
                case ast.Attribute(attr=word) if word not in bound:
                    words.add(word)
    return {word for word in words if is_private(word)}


class _Renamer(ast.NodeTransformer):
    """Gives variables, attributes, functions and classes other names."""

    def __init__(self, names: dict[str, str]) -> None:
        self._names = names

    def visit(self, node: ast.AST) -> ast.AST:
        """Rename one node, then what is in it."""
        match node:
            case ast.Name():
                node.id = self._names.get(node.id, node.id)
            case ast.Attribute():
                node.attr = self._names.get(node.attr, node.attr)
            case ast.FunctionDef() | ast.ClassDef():
                node.name = self._names.get(node.name, node.name)
        return self.generic_visit(node)


def _shorten_arguments(function: ast.FunctionDef, keywords: set[str], words: list[str]) -> None:
    """Name a function's positional arguments by the same few words; those that a call might name stay."""
    inner = {
        argument.arg
        for node in ast.walk(function)
        if isinstance(node, ast.FunctionDef | ast.Lambda) and node is not function
        for argument in ast.walk(node.args)
        if isinstance(argument, ast.arg)
    }
    used_names = {node.id for node in ast.walk(function) if isinstance(node, ast.Name)} | inner
    used_names |= {argument.arg for argument in ast.walk(function.args) if isinstance(argument, ast.arg)}
    fresh = _fresh(words, used_names)
    short = {
        argument.arg: next(fresh)
        for argument in function.args.args
        if argument.arg not in keywords and argument.arg not in inner and argument.arg != "self"
    }
    for node in ast.walk(function):
        if isinstance(node, ast.Name):
            node.id = short.get(node.id, node.id)
    for argument in function.args.args:
        argument.arg = short.get(argument.arg, argument.arg)
