"""A vocabulary has one definition: no verdicts, reasons, kinds, classes or pages are listed twice."""

import ast
from pathlib import Path

import pytest
from curbtick_wire import classes, messages, names, records

from tests.conventions.facts import words
from tests.conventions.sources import shown
from tests.paths import HOST, ROOT

PARSED = words.sources()
PLANTED = HOST / "planted.py"
PLACE = shown(PLANTED)


def planted(source: str) -> dict[Path, ast.Module]:
    """The product with one more file."""
    return {**PARSED, PLANTED: ast.parse(source)}


def test_no_vocabulary_is_listed_twice() -> None:
    assert not words.copies(PARSED)


def test_no_list_of_classes_stands_beside_the_table() -> None:
    assert not words.class_lists(PARSED)


def test_the_file_of_a_page_stands_in_the_list_of_pages_alone() -> None:
    assert not words.page_files(PARSED, words.templates())


VOCABULARIES = {
    "verdicts": names.VERDICTS,
    "reasons": names.REASONS,
    "bumpers": names.BUMPERS,
    "leaks": names.SEAL_VERDICTS,
    "events": names.EVENTS,
    "errors": messages.ERRORS,
    "kinds": tuple(word for _, word, _, _ in records.KINDS),
    "requests": tuple(row[1] for row in messages.REQUESTS),
}


@pytest.mark.parametrize("name", VOCABULARIES)
def test_a_copy_is_seen_wherever_it_is_planted(name: str) -> None:
    vocabulary = VOCABULARIES[name]
    some = vocabulary[-words.MANY :]
    table = {word: word.upper() for word in (*some, "something else")}
    for source in (f"WORDS = {some}", f"def planted():\n    return x in {set(some)}", f"TABLE = {table}"):
        assert [line for line in words.copies(planted(source)) if line.startswith(PLACE)], source


def test_a_table_with_an_entry_for_each_word_is_no_copy_and_an_incomplete_one_is() -> None:
    complete = dict.fromkeys(names.EVENTS, 1)
    incomplete = dict.fromkeys(names.EVENTS[1:], 1)
    assert not words.copies(planted(f"TABLE = {complete}"))
    assert words.copies(planted(f"TABLE = {incomplete}"))


@pytest.mark.parametrize(
    "source", [f"CLASSES = {classes.CLASSES_KHZ}", f"TEXT = 'of 1 kHz at one of {classes.class_list()} kHz'"]
)
def test_a_list_of_classes_is_seen(source: str) -> None:
    assert words.class_lists({PLANTED: ast.parse(source)}) == [f"{PLACE}:1 lists sensor classes"]


@pytest.mark.parametrize("page", sorted(words.PAGES))
def test_the_file_of_a_page_is_seen_in_code_and_in_a_template(page: str) -> None:
    assert words.page_files({PLANTED: ast.parse(f"path = folder / '{page}'")}, {}) == [
        f"{PLACE} names {page}"
    ]
    assert words.page_files({}, {PLANTED: f'<a href="{page}">'}) == [f"{PLACE} names {page}"]


@pytest.mark.parametrize(("name", "vocabulary"), sorted(words.SELECTIONS))
def test_a_selection_names_a_list_that_is_there(name: str, vocabulary: str) -> None:
    """An exception that nothing needs any more would hide the next copy."""
    module = PARSED[ROOT / name]
    everything = [one for path, parsed in PARSED.items() for one in words.displays(path, parsed)]
    known = [one for one in words.vocabularies(everything) if one.name == vocabulary]
    found = list(words.displays(ROOT / name, module))
    assert [one for one in found for other in known if words.is_copy(one, other)]
