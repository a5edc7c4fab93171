"""The chip's temperature in a record."""


def in_record_ddeg(temperature_ddeg: int) -> int:
    """Return a temperature as a record can hold it: a broken sensor must not stop what it is measured beside."""
    return max(-1250, min(1250, temperature_ddeg))
