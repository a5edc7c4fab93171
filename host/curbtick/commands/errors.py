"""How a failure is told: three lines for people, the one JSON object for programs. Loads in no time, so that
whatever happens while the rest loads can be told as well.
"""

import contextlib
import json
import os
import sys
from collections.abc import Iterator
from typing import Any

from curbtick.errors import CurbtickError
from curbtick.naming import visible

UNFORESEEN, INTERRUPTED = 70, 130

_emitted = {"objects": 0}
_lost: list[str] = []


class LostWordsError(CurbtickError):
    """What a command said could not be written; what it did stands. Exit code 1: something needs attention."""


def emit(result: dict[str, Any]) -> None:
    """Print the one JSON object of a command."""
    _emitted["objects"] += 1
    with heard():
        sys.stdout.write(json.dumps(result, ensure_ascii=False, default=str) + "\n")
        sys.stdout.flush()


def emitted() -> bool:
    """Whether this process printed its JSON object."""
    return _emitted["objects"] > 0


def json_wanted() -> bool:
    """Whether the command line asks for JSON."""
    return "--json" in sys.argv[1:]


def fail(error: CurbtickError, exit_code: int) -> None:
    """Show an error: what happened, what it means for the data, what to do next."""
    sys.stderr.write(visible(f"{error.what}\n{error.data}\n{error.next_step}\n"))
    if json_wanted() and not emitted():
        words = {"error": error.what, "data": error.data, "next_step": error.next_step}
        emit({**words, "exit_code": exit_code})


def interrupted(again: str = "Repeat the command.") -> CurbtickError:
    """What Ctrl-C leaves. again: what repeating the command does."""
    return CurbtickError(
        "Interrupted.", "What was stored before is kept; a probe keeps what is not acknowledged.", again
    )


@contextlib.contextmanager
def heard() -> Iterator[None]:
    """Let a command go on whose words cannot be written: what it stores must not hang on who listens.

    A reader who has heard enough, `head` for one, is no trouble.
    """
    try:
        yield
    except BrokenPipeError:
        _listen_no_more()
    except OSError as error:
        _lost.append(error.strerror or str(error))
        _listen_no_more()


def _listen_no_more() -> None:
    """Send what is said from here on nowhere; Python would fail again on what it still holds as it ends."""
    with contextlib.suppress(OSError, ValueError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, sys.stdout.fileno())
        os.close(nowhere)


def refuse_lost_words() -> None:
    """Raise LostWordsError where something that was said could not be written."""
    if _lost:
        why, *_ = _lost
        _lost.clear()
        raise LostWordsError(
            f"What the command says cannot be written: {why}.",
            "It did its work; only its words are lost.",
            "Free some space, or send its words elsewhere, and look at the history again.",
        )
