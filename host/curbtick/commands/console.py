"""The library that draws tables, taught what a reader who has gone means."""

import rich.console


class Console(rich.console.Console):
    """A console that raises where its reader has gone."""

    def on_broken_pipe(self) -> None:
        """Leave a reader who has gone to errors.heard; rich would end the program, in the middle of a change."""
        raise BrokenPipeError
