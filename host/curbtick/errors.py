"""The errors a user meets: each says what happened, what it means for the data, and what to do next."""


class CurbtickError(Exception):
    """Base of every error the bench reports on purpose.

    what: what happened; data: what it means for the data; next_step: what to do about it.
    """

    exit_code = 1

    def __init__(self, what: str, data: str, next_step: str) -> None:
        super().__init__(what)
        self.what = what
        self.data = data
        self.next_step = next_step

    def __str__(self) -> str:
        return f"{self.what}\n{self.data}\n{self.next_step}"


class LinkError(CurbtickError):
    """The probe cannot be reached, or what came down the wire is not a probe's answer."""

    exit_code = 3


class InputError(CurbtickError):
    """A file, a value or an option given by the user makes no sense."""

    exit_code = 2


class StoreError(CurbtickError):
    """The history cannot be read or written."""

    exit_code = 4


class NoHistoryError(StoreError):
    """There is no history where one was named."""


def unforeseen(error: BaseException) -> CurbtickError:
    """Return what to say of an error that no line of the program expects."""
    return CurbtickError(
        f"An error nobody foresaw: {type(error).__name__}: {error}",
        "What was stored before is kept; a change that was under way was undone.",
        "Please report it, with what you did.",
    )


class MissingProgramError(CurbtickError):
    """A program that this command needs is not on the machine."""

    exit_code = 5
