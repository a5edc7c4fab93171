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


class MissingProgramError(CurbtickError):
    """A program that this command needs is not on the machine."""

    exit_code = 5
