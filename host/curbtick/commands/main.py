"""The `curbtick` command: its subcommands, mounted, and the way every error reaches a user."""

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from importlib import import_module
from typing import Any

import typer
from typer.core import TyperGroup

from curbtick.commands import errors
from curbtick.errors import CurbtickError, InputError

# Each module has `register(app)`, which adds its commands.
ROOMS = (
    "probe.probes",
    "history.vehicles",
    "probe.round",
    "probe.limits",
    "history.reading",
    "history.report",
    "history.work",
    "history.study",
    "virtual.demo",
    "virtual.leaks",
    "probe.install",
    "history.db",
)


# What repeating a command does after Ctrl-C, where there is more to say than "Repeat the command."
_GOES_ON = "Repeat the command; it goes on where it stopped."
AGAIN = {
    "pull": _GOES_ON,
    "sync": _GOES_ON,
    "db": "Repeat the command; a copy goes on where it stopped.",
    "demo": "Repeat the command; the day begins anew.",
    "virtual": "Start it again with the same --flash; without one the probe's readings are gone.",
}
# Typer does not name the base of its complaints about options and arguments.
_UsageError: Any = typer.BadParameter.__base__


class Group(TyperGroup):
    """Turns every exception of a command into three lines and an exit code."""

    def make_context(self, *words: Any, **more: Any) -> Any:
        """Understand the command line's beginning, or say in three lines what is wrong with it."""
        with _told(None):
            return super().make_context(*words, **more)

    def invoke(self, ctx: Any) -> Any:
        """Run the command, or say in three lines why it could not be."""
        with _told(ctx):
            result = super().invoke(ctx)
            errors.refuse_lost_words()
            return result


@contextmanager
def _told(ctx: Any) -> Iterator[None]:
    try:
        yield
    except (Exception, KeyboardInterrupt) as error:
        told = _as_told(error, ctx)
        if told is None:
            raise
        errors.fail(*told)
        raise typer.Exit(told[1]) from None


def _as_told(error: BaseException, ctx: Any) -> tuple[CurbtickError, int] | None:
    """An exception in three lines, with its exit code; None for what Typer uses to end a command or show help."""
    if isinstance(error, CurbtickError):
        return error, error.exit_code
    if isinstance(error, KeyboardInterrupt):
        again = AGAIN.get(getattr(ctx, "invoked_subcommand", None) or "", "Repeat the command.")
        return errors.interrupted(again), errors.INTERRUPTED
    if isinstance(error, _UsageError) and type(error).__name__ != "NoArgsIsHelpError":
        return _misused(error), InputError.exit_code
    if type(error).__module__.split(".")[0] in ("typer", "click"):
        return None
    return _unforeseen(error), errors.UNFORESEEN


def _misused(error: Any) -> CurbtickError:
    command = error.ctx.command_path if error.ctx else "curbtick"
    what = " ".join(error.format_message().split()).rstrip(".")
    return InputError(f"{what}.", "Nothing was read or changed.", f"`{command} --help` shows what it takes.")


def _unforeseen(error: BaseException) -> CurbtickError:
    return CurbtickError(
        f"An error nobody foresaw: {type(error).__name__}: {error}",
        "What was stored before is kept; a change that was under way was undone.",
        "Please report it with the command you gave.",
    )


app = typer.Typer(
    name="curbtick",
    cls=Group,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode="rich",
    help="The bench of a go/no-go probe for a fleet's ultrasonic parking sensors.",
    epilog="Exit codes: 0 done; 1 done, and something needs attention; 2 input makes no sense; 3 no probe; "
    "4 no history; 5 a program is missing; 70 an error nobody foresaw; 130 interrupted.",
)


def _mount() -> None:
    for room in ROOMS:
        import_module(f"curbtick.commands.{room}").register(app)


_mount()


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
