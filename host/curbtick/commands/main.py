"""The `curbtick` command: its subcommands, loaded when they are called, and the way every error reaches a user."""

import re
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, NamedTuple

import typer
from typer.core import TyperGroup

from curbtick.cautions import PASS_NOTE
from curbtick.commands import catalogue, errors
from curbtick.errors import CurbtickError, InputError, unforeseen

# What repeating a command does after Ctrl-C, where there is more to say than "Repeat the command."
_GOES_ON = "Repeat the command; it goes on where it stopped."
AGAIN = {
    "pull": _GOES_ON,
    "sync": _GOES_ON,
    "db": "Repeat the command; a copy goes on where it stopped.",
    "demo": "Repeat the command; the day begins anew.",
    "virtual": "Start it again with the same --flash; without one the probe's readings are gone.",
}
# What the option library says, and how a person says it.
PLAINLY = (
    (r"Input should be a valid integer.*", "a whole number is needed"),
    (r"Input should be a valid number.*", "a number is needed"),
    (r"Input should be less than or equal to (\S+)", r"at most \1 is allowed"),
    (r"Input should be greater than or equal to (\S+)", r"at least \1 is needed"),
    (r"Input should be greater than (\S+)", r"more than \1 is needed"),
    (r"Input should be less than (\S+)", r"less than \1 is needed"),
    (r"Input should be ", "it must be "),
)
# Typer does not name the base of its complaints about options and arguments.
_UsageError: Any = typer.BadParameter.__base__


class Group(TyperGroup):
    """Loads the command that is called, and turns its every exception into three lines and an exit code."""

    def __init__(self, **settings: Any) -> None:
        """Know every command by its row in the catalogue."""
        super().__init__(**{**settings, "commands": catalogue.listed()})

    def resolve_command(self, ctx: Any, args: list[str]) -> Any:
        """Find the command that is called, and load it."""
        name, command, rest = super().resolve_command(ctx, args)
        return name, command if name is None else catalogue.load(name), rest

    def make_context(self, *words: Any, **more: Any) -> Any:
        """Understand the command line's beginning, or say in three lines what is wrong with it."""
        with _reported(None):
            return super().make_context(*words, **more)

    def invoke(self, ctx: Any) -> Any:
        """Run the command, or say in three lines why it could not be."""
        with _reported(ctx):
            result = super().invoke(ctx)
            errors.refuse_lost_words()
            return result


@contextmanager
def _reported(ctx: Any) -> Iterator[None]:
    try:
        yield
    except (Exception, KeyboardInterrupt) as error:
        failure = _failure(error, ctx)
        if failure is None:
            raise
        errors.fail(failure.error, failure.exit_code)
        raise typer.Exit(failure.exit_code) from None


class Failure(NamedTuple):
    """An error in three lines, and the exit code of the command that met it."""

    error: CurbtickError
    exit_code: int


def _failure(error: BaseException, ctx: Any) -> Failure | None:
    """An exception in three lines; None for what Typer uses to end a command or show help."""
    if isinstance(error, CurbtickError):
        return Failure(error, error.exit_code)
    if isinstance(error, KeyboardInterrupt):
        again = AGAIN.get(getattr(ctx, "invoked_subcommand", None) or "", "Repeat the command.")
        return Failure(errors.interrupted(again), errors.INTERRUPTED)
    if isinstance(error, _UsageError) and type(error).__name__ != "NoArgsIsHelpError":
        return Failure(_misused(error), InputError.exit_code)
    if type(error).__module__.split(".")[0] in ("typer", "click"):
        return None
    return Failure(unforeseen(error), errors.UNFORESEEN)


def _misused(error: Any) -> CurbtickError:
    command = error.ctx.command_path if error.ctx else "curbtick"
    what = " ".join(error.format_message().split()).rstrip(".")
    for told, meant in PLAINLY:
        what = re.sub(told, meant, what)
    return InputError(f"{what}.", "Nothing was read or changed.", f"`{command} --help` shows what it takes.")


app = typer.Typer(
    name="curbtick",
    cls=Group,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode="rich",
    help="The bench of a go/no-go probe for a fleet's ultrasonic parking sensors.",
    epilog=f"{PASS_NOTE} "
    "Exit codes: 0 done; 1 done, and something needs attention; 2 input makes no sense; 3 no probe; "
    "4 no history; 5 a program is missing; 70 an error nobody foresaw; 130 interrupted.",
)


@app.callback()
def _curbtick() -> None:
    """Nothing comes before a command; Typer needs one to make a group of an application without commands."""


def main() -> None:
    """Run the command line; the process's exit code is the command's."""
    try:
        app(prog_name="curbtick")
    except SystemExit as exit_:
        if exit_.code not in (0, None) and errors.json_wanted() and not errors.emitted():
            errors.emit(
                {"error": "The options make no sense; standard error says why.", "exit_code": exit_.code}
            )
        sys.exit(exit_.code)
