"""How every command speaks: words for people, exactly one JSON object for programs, progress for the
impatient.

With --json standard output carries one JSON object and nothing else; everything said goes to standard
error. Exit codes: 0 done; 1 done, and something needs attention; 2 the input or the options make no sense;
3 the probe cannot be reached; 4 the history cannot be read or written; 5 a program is missing; 70 an error
nobody foresaw; 130 interrupted.
"""

import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated, Any, Protocol

import typer

from curbtick.commands.errors import emit, heard
from curbtick.errors import InputError
from curbtick.naming import visible

Json = Annotated[
    bool, typer.Option("--json", help="Print one JSON object on standard output, words elsewhere.")
]
Db = Annotated[
    str | None,
    typer.Option(
        "--db",
        envvar="CURBTICK_DB",
        help="The history: a file or a URL; curbtick.db when left out.",
        show_default=False,
    ),
]
Seed = Annotated[int, typer.Option(help="Seed of everything random.", min=0)]
By = Annotated[str | None, typer.Option("--by", help="Who did it.", show_default=False)]


class Output:
    """What one command says. as_json: words go to standard error and `done` prints the object.

    Tables and progress bars load their library when they are first drawn; a command that says one line does not pay
    for it.
    """

    def __init__(self, as_json: bool) -> None:
        self.as_json = as_json

    def say(self, words: str) -> None:
        """Say a line to people; square brackets are taken as they are."""
        with heard():
            print(visible(words), file=sys.stderr if self.as_json else sys.stdout, flush=True)

    def table(
        self, titles: Sequence[str], rows: Sequence[Sequence[object]], caption: str | None = None
    ) -> None:
        """Show rows of values under their titles."""
        from rich import box
        from rich.table import Table
        from rich.text import Text

        from curbtick.commands.console import Console

        # Values are text, not markup: a name may have square brackets.
        table = Table(*titles, title=caption, title_justify="left", box=box.SIMPLE_HEAD, pad_edge=False)
        for row in rows:
            table.add_row(*(Text("" if value is None else visible(str(value))) for value in row))
        with heard():
            Console(stderr=self.as_json, highlight=False).print(table)

    def done(self, result: dict[str, Any]) -> None:
        """Finish: print the object when JSON was asked for."""
        if self.as_json:
            emit(result)

    def agreed(self, question: str) -> bool:
        """Ask on standard error, so that standard output stays whole; nothing but a yes is one."""
        sys.stderr.write(f"{question} [y/N] ")
        sys.stderr.flush()
        return sys.stdin.readline().strip().lower() in ("y", "yes")

    @contextmanager
    def progress(self, words: str, total: int | None = None) -> Iterator["Tick"]:
        """A progress bar on standard error, gone when the work is done."""
        from rich.console import Console
        from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeRemainingColumn

        columns = (TextColumn("{task.description}"), BarColumn(), TaskProgressColumn(), TimeRemainingColumn())
        console = Console(stderr=True)
        with Progress(*columns, console=console, transient=True, disable=not console.is_terminal) as bar:
            task = bar.add_task(words, total=total)
            yield lambda done, of=None: bar.update(task, completed=done, total=of if of else total)


class Tick(Protocol):
    """Called with how much is done and, where it became known, of how much."""

    def __call__(self, done: int, of: int | None = None) -> None: ...


def write_text(path: Path, text: str) -> None:
    """Write a file, making its folder. Raises InputError."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise InputError(
            f"{path} cannot be written: {error.strerror}.", "The history is unchanged.", "Name another file."
        ) from error
