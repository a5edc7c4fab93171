"""Whole numbers as people and browsers write them."""

# The largest number that both kinds of database keep in a column of 64 bits.
LARGEST = 2**63 - 1


def whole(text: str) -> int | None:
    """Return the number that a text of the digits 0 to 9 stands for; None for any other text.

    Digits of other scripts and superscripts, which Python's own test for digits lets through, are no number here.
    Nor is a number above LARGEST: nothing in a history has it.
    """
    if not (text.isascii() and text.isdigit()) or len(text) > len(str(LARGEST)):
        return None
    number = int(text)
    return number if number <= LARGEST else None
