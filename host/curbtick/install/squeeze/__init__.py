"""Makes the probe's source smaller in a chip's memory before it is compiled; what it does stays the same.

A module that MicroPython loads from a file stands in RAM, and so does every name in it, once. So this folds whole
numbers into the places that use them, leaves out what no module mentions, gives private names and arguments the same
few short names in all modules, and lets equal strings be one.
"""

import ast

from curbtick.install.squeeze import constants, interning, joining, plain, shorter, unused


def squeeze(sources: dict[str, str], keep: tuple[str, ...] = ()) -> dict[str, str]:
    """The sources with less in them, by the same paths ("curbtick_probe/log"), without modules nobody imports.

    sources: the whole program, with "main" as its start. keep: beginnings of paths whose public names are used from
    outside.
    """
    program = {path: plain.strip(ast.parse(text)) for path, text in sources.items()}
    constants.fold(program)
    unused.remove(program, keep)
    shorter.shorten(program)
    program = joining.join(program)
    for module in program.values():
        interning.intern(module)
    return {path: ast.unparse(ast.fix_missing_locations(module)) + "\n" for path, module in program.items()}
