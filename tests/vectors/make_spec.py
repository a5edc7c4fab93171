"""Writes the derived tables of SPEC.md: `python -m tests.vectors.make_spec`, or with `--check` sees if they are stale.

A derived table stands between `<!-- derived: NAME -->` and `<!-- end -->`; everything else is prose, left alone.
"""

import re
import struct
import sys
from pathlib import Path
from typing import Any

from curbtick_wire import classes, codec, frames, messages, names, records, settings, texts

PATH = Path(__file__).resolve().parents[2] / "protocol" / "SPEC.md"
_BLOCK = re.compile(r"(<!-- derived: (\w+) -->\n).*?(<!-- end -->)", re.DOTALL)
_RULES = {
    messages.OPEN: "anyone",
    messages.SIGNED: "a paired bench, signed",
    messages.PAIRING: "anyone while pairing",
}
_NONE_MARKERS = (records.NONE_I16, records.NONE_I32)


def _range(field: tuple[str, str, int, int]) -> str:
    _name, form, lowest, highest = field
    if form[-1] == "s":
        return "any"
    if lowest in _NONE_MARKERS:
        return f"{lowest}..{highest} ({texts.NOT_MEASURED})"
    return f"{lowest}..{highest}"


def _type(form: str) -> str:
    letters = {"B": "u8", "H": "u16", "I": "u32", "h": "i16", "i": "i32", "s": "bytes"}
    word = letters[form[-1]]
    return f"{form[:-1]} {word}" if len(form) > 1 else word


def meaning(table: str, name: str) -> str:
    """What a field means in a table. Raises KeyError for a field without words."""
    return texts.FIELDS_OF.get((table, name)) or texts.FIELDS[name]


def _fields(table: str, fields: Any) -> str:
    if not fields:
        return "No fields.\n"
    lines = ["| offset | field | type | range | meaning |", "|---|---|---|---|---|"]
    offset = 0
    for field in fields:
        words = meaning(table, field[0])
        lines.append(f"| {offset} | `{field[0]}` | {_type(field[1])} | {_range(field)} | {words} |")
        offset += struct.calcsize("<" + field[1])
    return "\n".join(lines) + "\n"


def _records() -> str:
    parts = ["### Header\n\n" + _fields("header", records.HEADER)]
    for number, name, fields, tail in records.KINDS:
        most = records.SNIPPET_MAX if tail else codec.size_of(records.HEADER) + codec.size_of(fields) + 4
        if tail == "words":
            most = records.RECORD_MAX
        head = f"### Kind {number}: {name}\n\n{texts.RECORDS[name]} At most {most} B.\n\n"
        parts.append(head + _fields(name, fields))
    parts.append("### One sound\n\n" + _fields("sound", records.SOUND))
    return "\n".join(parts)


def _settings() -> str:
    tables = (
        ("Limit set", "limit_set", settings.LIMIT_SET),
        ("Class of a limit set", "limit_class", settings.LIMIT_CLASS),
        ("Round", "round", settings.ROUND),
        ("Vehicle of a round", "round_vehicle", settings.ROUND_VEHICLE),
        ("Calibration", "calibration", settings.CALIBRATION),
        ("Gain of a calibration", "calibration_gain", settings.CALIBRATION_GAIN),
    )
    return "\n".join(f"### {title}\n\n{_fields(name, fields)}" for title, name, fields in tables)


def _classes() -> str:
    names = [field[0] for field in settings.LIMIT_CLASS]
    lines = ["| " + " | ".join(f"`{name}`" for name in names) + " |", "|" + "---|" * len(names)]
    for row in classes.factory_classes():
        lines.append("| " + " | ".join(str(row[name]) for name in names) + " |")
    return "\n".join([*lines, "", f"A reading that names no class is given {classes.auto_meaning()}.", ""])


def _messages() -> str:
    parts = []
    for number, name, fields, tail, rule in messages.REQUESTS:
        rows = f" Tail: a {tail}." if tail else ""
        words = f"{texts.MESSAGES[name]}{rows} From {_RULES[rule]}."
        parts.append(f"### {number}: {name}\n\n{words}\n\n{_fields(name, fields)}")
        for reply in messages.REPLIES:
            if reply[0] == number | messages.REPLY or (name == "read" and reply[1] == "read_end"):
                parts.append(_reply(reply))
    parts.append(_reply(messages.REPLIES[-1]))
    parts.append(
        "### Signature, at the end of a signed payload\n\n" + _fields("signature", messages.SIGNATURE)
    )
    parts.append("### Key row\n\n" + _fields("key_row", messages.KEY_ROW))
    return "\n".join(parts)


def _reply(entry: Any) -> str:
    number, name, fields, tail = entry
    words = texts.MESSAGES[name] or (f"Tail: a {tail}." if tail else "")
    return f"#### {number}: {name}\n\n{words}\n\n".replace("\n\n\n\n", "\n\n") + _fields(name, fields)


def _words(title: str, numbered: Any, meanings: Any = None) -> str:
    lines = [
        f"| {title} | word |" + (" meaning |" if meanings else ""),
        "|---|---|" + ("---|" if meanings else ""),
    ]
    for number, word in enumerate(numbered):
        lines.append(f"| {number} | `{word}` |" + (f" {meanings[word]} |" if meanings else ""))
    return "\n".join(lines) + "\n"


def _vocabulary() -> str:
    tables = (
        "VERDICTS",
        "REASONS",
        "PROOFS",
        "BUMPER_RESULTS",
        "SOUND_KINDS",
        "INPUTS",
        "SEAL_VERDICTS",
        "HISS_VERDICTS",
        "SELF_TESTS",
        "CRASHES",
    )
    meanings = {"REASONS": texts.REASONS, "CRASHES": texts.CRASHES}
    return "\n".join([_words(table, getattr(names, table), meanings.get(table)) for table in tables])


def _sizes() -> str:
    return (
        f"Protocol version {messages.PROTOCOL_VERSION}, record layout {records.LAYOUT}, definition "
        f"`{messages.definition().hex()}`. A request's payload has at most {frames.PAYLOAD_MAX} B, a limit set or a "
        f"round at most {messages.SETTING_MAX} B, a slice at most {frames.CHUNK_MAX} B, a window {messages.WINDOW} "
        f"slices. A record has at most {records.RECORD_MAX} B, one with a tail at most {records.SNIPPET_MAX} B.\n"
    )


_DERIVED = {
    "sizes": _sizes,
    "records": _records,
    "settings": _settings,
    "classes": _classes,
    "messages": _messages,
    "errors": lambda: _words("code", messages.ERRORS, texts.ERRORS),
    "events": lambda: _words("event", names.EVENTS, texts.EVENTS),
    "vocabulary": _vocabulary,
}


def updated(text: str) -> str:
    """SPEC.md's text with every derived table made anew."""
    return _BLOCK.sub(lambda found: found[1] + _DERIVED[found[2]]() + found[3], text)


def main(arguments: list[str]) -> int:
    """Write SPEC.md, or with `--check` only say whether it is stale: 0 when it is not."""
    text = PATH.read_text(encoding="utf-8")
    fresh = updated(text)
    if "--check" not in arguments:
        PATH.write_text(fresh, encoding="utf-8")
        return 0
    return 0 if fresh == text else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
