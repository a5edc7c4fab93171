"""The one rule for what people call things: vehicles, depots, technicians, rounds, benches."""

import unicodedata

from curbtick.errors import InputError

NAME_MAX = 80
# Categories of the Unicode Standard (chapter 4.5) that no reader sees: controls (Cc), invisible formatting such as a
# change of writing direction (Cf), halves of a character (Cs), line and paragraph ends (Zl, Zp).
UNSEEN = frozenset(("Cc", "Cf", "Cs", "Zl", "Zp"))


def visible(text: str) -> str:
    """Return a text as a terminal may show it: what nobody sees, ESC among it, stands as a replacement character."""
    return "".join(
        char if char in "\n\t" or unicodedata.category(char) not in UNSEEN else "\ufffd" for char in text
    )


def checked_optional(text: str | None, what: str) -> str | None:
    """Return a name that may be left out; None for none and for an empty one. Raises InputError as checked_name."""
    return checked_name(text, what) if text and text.strip() else None


def checked_name(text: str, what: str, data: str = "Nothing was changed.") -> str:
    """Return a name without the spaces around it.

    what: whose name it is, in words, such as `a vehicle`; data: what a refusal means for the data. Raises InputError
    for an empty one, one of more than NAME_MAX characters, and one with characters that no reader sees.
    """
    name = unicodedata.normalize("NFC", text).strip()
    if not name:
        raise InputError(f"The name of {what} is empty.", data, "Give it a name.")
    if len(name) > NAME_MAX:
        shown = f"{name[:20]}…"
        raise InputError(
            f"The name {shown} of {what} has {len(name)} characters.", data, f"Give it at most {NAME_MAX}."
        )
    unseen = next((char for char in name if unicodedata.category(char) in UNSEEN), None)
    if unseen is not None:
        raise InputError(
            f"The name of {what} has a character that nobody sees (U+{ord(unseen):04X}).",
            data,
            "Type the name anew, on one line.",
        )
    return name
