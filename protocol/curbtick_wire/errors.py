"""The one error of the wire: a value, a record or a frame that does not fit its definition."""


class WireError(Exception):
    """A field does not fit its definition.

    field: the name of the field (or of the whole: "record", "frame"); why: plain words.
    """

    def __init__(self, field: str, why: str) -> None:
        super().__init__(field + ": " + why)
        self.field = field
        self.why = why
