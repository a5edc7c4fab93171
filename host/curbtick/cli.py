"""The `curbtick` command: its subcommands, mounted, and the way every error reaches a user."""

import sys
from importlib import import_module
from typing import Any

import typer
from typer.core import TyperGroup

from curbtick import cli_output
from curbtick.errors import CurbtickError

# Each module has `register(app)`, which adds its commands.
ROOMS = (
    "cli_probes",
    "cli_vehicles",
    "cli_round",
    "cli_limits",
    "cli_reading",
    "cli_report",
    "cli_work",
    "cli_study",
    "cli_demo",
    "cli_leaks",
    "cli_install",
    "cli_db",
)


class Group(TyperGroup):
    """Turns every exception of a command into three lines and an exit code."""

    def invoke(self, ctx: Any) -> Any:
        """Run the command, or say in three lines why it could not be."""
        try:
            return super().invoke(ctx)
        except CurbtickError as error:
            cli_output.fail(error)
            raise typer.Exit(error.exit_code) from None
        except KeyboardInterrupt:
            cli_output.fail(_interrupted())
            raise typer.Exit(cli_output.INTERRUPTED) from None
        except Exception as error:
            if type(error).__module__.split(".")[0] in ("typer", "click"):
                raise
            cli_output.fail(_unforeseen(error))
            raise typer.Exit(cli_output.UNFORESEEN) from None


def _interrupted() -> CurbtickError:
    return CurbtickError(
        "Interrupted.",
        "What was stored before is kept; a probe keeps what is not acknowledged.",
        "Repeat the command; it goes on where it stopped.",
    )


def _unforeseen(error: Exception) -> CurbtickError:
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
    "4 no history; 5 a program is missing; 130 interrupted.",
)


def _mount() -> None:
    for room in ROOMS:
        import_module(f"curbtick.{room}").register(app)


_mount()


def main() -> None:
    """Run the command line; the process's exit code is the command's."""
    try:
        app()
    except SystemExit as exit_:
        if exit_.code not in (0, None) and cli_output.json_wanted() and not cli_output.emitted():
            cli_output.emit(
                {"error": "The options make no sense; standard error says why.", "exit_code": exit_.code}
            )
        sys.exit(exit_.code)
