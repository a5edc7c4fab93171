"""Words that stand twice: `python -m tests.conventions.facts.words` lists them.

A vocabulary is a list of words that has one definition: a tuple of words, or a table of the probe's panel, bound to a
name at the top of a file. Three rules find its copies in the product's files:

- a list, a set or a table in another file that holds MANY words of a vocabulary, or the whole of a shorter one,
  is a copy. A table is none where its keys are exactly the words of one vocabulary or of several: it says something
  new of each word, and this rule keeps it complete;
- a list of the sensor classes beside `curbtick_wire.classes` is a copy;
- the file of a page stands in `site_map` alone, in no other Python file and in no template.
"""

import ast
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations
from pathlib import Path
from re import findall, fullmatch

from curbtick.report.views import site_map
from curbtick_wire import classes, messages, records

from tests.conventions.sources import python_files, shown, tree
from tests.paths import FIRMWARE, HOST, NOTES, WIRE

# So many words of one vocabulary in one list are no chance.
MANY = 3
SITE_MAP = HOST / "report" / "views" / "site_map.py"
TEMPLATES = HOST / "report" / "templates"
CLASSES = WIRE / "classes.py"
NUMBER = r"(?<![\w.])\d+(?![\w.]*\d)"
# What the first page of any folder on the web is called: it names no page of ours alone.
INDEX = site_map.DAY.file
PAGES = frozenset(page.file for page in (*site_map.OVERVIEWS, site_map.BENCH)) - {INDEX}


@dataclass(frozen=True)
class Words:
    """Words that stand together in a file: a list of them, or the keys of a table."""

    path: Path
    line: int
    words: frozenset[str]
    is_table: bool
    name: str = ""

    def __str__(self) -> str:
        return f"{shown(self.path)}:{self.line} {self.name}".rstrip()


def strings(nodes: list[ast.expr | None]) -> frozenset[str]:
    """The constant words among some expressions."""
    values = [node.value for node in nodes if isinstance(node, ast.Constant)]
    return frozenset(v for v in values if isinstance(v, str) and fullmatch(r"[a-z][a-z0-9_ ]*", v))


def displays(path: Path, module: ast.Module) -> Iterator[Words]:
    """Every list, set and table of a file that is written out."""
    names = {id(value): target for target, value in bound(module)}
    for node in ast.walk(module):
        if isinstance(node, ast.Tuple | ast.List | ast.Set):
            yield Words(path, node.lineno, strings([*node.elts]), False, names.get(id(node), ""))
        elif isinstance(node, ast.Dict):
            yield Words(path, node.lineno, strings(node.keys), True, names.get(id(node), ""))


def bound(module: ast.Module) -> Iterator[tuple[str, ast.expr]]:
    """What a file binds to a name at its top."""
    for node in module.body:
        if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name):
            yield node.targets[0].id, node.value
        elif isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name) and node.value:
            yield node.target.id, node.value


def sources() -> dict[Path, ast.Module]:
    """The product's parsed files."""
    return {path: tree(path) for path in python_files(FIRMWARE, WIRE, HOST, NOTES)}


def vocabularies(everything: list[Words]) -> list[Words]:
    """Each vocabulary: the tuples of words of the protocol's names and messages, and those of VOCABULARIES."""
    wire = {WIRE / "names.py", WIRE / "messages.py"}
    found = [one for one in everything if one.path in wire and one.name and not one.is_table]
    found += [one for one in everything if (shown(one.path), one.name) in VOCABULARIES]
    kinds = frozenset(word for _, word, _, _ in records.KINDS)
    requests = frozenset(row[1] for row in messages.REQUESTS)
    replies = frozenset(row[1] for row in messages.REPLIES)
    found += [Words(WIRE / "records.py", 0, kinds, False, "KINDS")]
    found += [Words(WIRE / "messages.py", 0, words, False, "REQUESTS") for words in (requests, replies)]
    return found


# Vocabularies outside the protocol: the file, and the name that the words are bound to.
VOCABULARIES = {
    ("firmware/curbtick_probe/hiss/section.py", "STATUSES"),
    ("firmware/curbtick_probe/panel/patterns.py", "METER_PATTERNS"),
    ("firmware/curbtick_probe/panel/patterns.py", "PATTERNS"),
    ("firmware/curbtick_probe/seal/check.py", "STATUSES"),
    ("host/curbtick/fleet/places/newest.py", "SEVERITY"),
    ("host/curbtick/yard/ear/faults.py", "SENSOR_FAULTS"),
}

# Lists that hold many words of a vocabulary and are no copy of it: the file and the vocabulary, and why.
SELECTIONS = {
    ("firmware/curbtick_probe/board/rp2/pins.py", "INPUTS"): "the names of pins, three of them inputs",
    ("hardware_notes/building/parts.py", "SELF_TESTS"): "parts to buy",
    ("host/curbtick/fleet/probes/health.py", "EVENTS"): "the events that lose a record",
    ("host/curbtick/fleet/leaks.py", "PATTERNS"): "the verdicts that are findings",
    (
        "host/curbtick/report/drawings/sounds.py",
        "SOUND_KINDS",
    ): "and the neighbour, which the bench tells apart",
    (
        "host/curbtick/report/views/answer.py",
        "REASONS",
    ): "the faults that are told with the limit that they miss",
    ("host/curbtick/report/views/todo.py", "PATTERNS"): "what can be a task, worst first",
    ("host/curbtick/report/views/todo.py", "SEVERITY"): "what can be a task: findings and bodies too",
    ("host/curbtick/report/views/todo.py", "VERDICTS"): "what can be a task: none for what passes",
    (
        "host/curbtick/virtual/panel/card.py",
        "HISS_VERDICTS",
    ): "the patterns of a section that the card explains",
    ("host/curbtick/virtual/panel/card.py", "PATTERNS"): "the patterns that the card explains",
    ("host/curbtick/virtual/panel/card.py", "REASONS"): "patterns, three of which are named as a reason is",
    ("host/curbtick/hardware/values.py", "INPUTS"): "the same three in the order of the signal's way",
    ("host/curbtick/virtual/panel/pictures.py", "PATTERNS"): "the patterns of one picture, in its groups",
    (
        "host/curbtick/virtual/panel/pictures.py",
        "HISS_VERDICTS",
    ): "the seal check's patterns, then the hiss check's",
}


def copies(parsed: dict[Path, ast.Module]) -> list[str]:
    """Lists and tables of a vocabulary's words in another file than its own."""
    everything = [
        one for path, module in parsed.items() for one in displays(path, module) if len(one.words) > 1
    ]
    known = vocabularies(everything)
    defined = {(one.path, one.line) for one in known}
    lines = []
    for one in everything:
        if (one.path, one.line) in defined or (one.is_table and is_complete(one, known)):
            continue
        for vocabulary in known:
            if is_copy(one, vocabulary) and (shown(one.path), vocabulary.name) not in SELECTIONS:
                lines.append(f"{one} repeats {vocabulary}")
    return lines


def is_copy(one: Words, vocabulary: Words) -> bool:
    """Whether words outside a vocabulary's file hold many of its words, or all of them."""
    shared = one.words & vocabulary.words
    return one.path != vocabulary.path and (len(shared) >= MANY or shared == vocabulary.words)


def is_complete(table: Words, known: list[Words]) -> bool:
    """Whether a table's keys are exactly the words of one vocabulary, or of two together."""
    whole = [vocabulary.words for vocabulary in known if vocabulary.words <= table.words]
    return table.words in whole or any(table.words == one | other for one, other in combinations(whole, 2))


def class_lists(parsed: dict[Path, ast.Module]) -> list[str]:
    """Lists of sensor classes outside their table: as numbers, or in words."""
    lines = []
    for path, module in parsed.items():
        for node in ast.walk(module) if path != CLASSES else ():
            if isinstance(node, ast.expr) and is_class_list(node):
                lines.append(f"{shown(path)}:{node.lineno} lists sensor classes")
    return lines


def is_class_list(node: ast.expr) -> bool:
    """Whether a list, a set, a table or a text names MANY sensor classes and nothing else that is a number."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        lists = findall(rf"{NUMBER}(?:(?:, | and |, and | or | / ){NUMBER})+", node.value)
        return any(are_classes([int(number) for number in findall(r"\d+", one)]) for one in lists)
    elements = node.elts if isinstance(node, ast.Tuple | ast.List | ast.Set) else getattr(node, "keys", [])
    values = [element.value for element in elements if isinstance(element, ast.Constant)]
    return len(values) == len(elements) and are_classes([v for v in values if isinstance(v, int)])


def are_classes(numbers: list[int]) -> bool:
    """Whether the numbers are MANY different sensor classes."""
    return len(set(numbers)) >= MANY and set(numbers) <= set(classes.CLASSES_KHZ)


def page_files(parsed: dict[Path, ast.Module], templates: dict[Path, str]) -> list[str]:
    """Where the file of a page stands outside of the list of pages."""
    texts = {path: texts_of(module) for path, module in parsed.items() if path != SITE_MAP}
    texts |= {path: [text] for path, text in templates.items()}
    return [
        f"{shown(path)} names {page}"
        for path, found in texts.items()
        for page in sorted(PAGES)
        if any(page in text for text in found)
    ]


def texts_of(module: ast.Module) -> list[str]:
    """Every text of a file but its docstrings."""
    docs = {
        id(node.value)
        for node in ast.walk(module)
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
    }
    constants = (node for node in ast.walk(module) if isinstance(node, ast.Constant) and id(node) not in docs)
    return [node.value for node in constants if isinstance(node.value, str)]


def templates() -> dict[Path, str]:
    """The report's templates."""
    return {path: path.read_text(encoding="utf-8") for path in sorted(TEMPLATES.glob("*.html"))}


if __name__ == "__main__":
    print("\n".join([*copies(sources()), *class_lists(sources()), *page_files(sources(), templates())]))
