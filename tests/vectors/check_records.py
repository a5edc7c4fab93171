"""Holds the codec and the message table to records.jsonl; runs on CPython and on MicroPython alike.

micropython check_records.py records.jsonl      prints one JSON line: {"cases": N, "wrong": [places]}
"""

import json
import sys

from curbtick_wire import codec, messages


def plain(values):
    """Values as JSON holds them: tuples as lists, bytes as hex."""
    out = {}
    for name in values:
        value = values[name]
        out[name] = (
            list(value) if isinstance(value, tuple) else value.hex() if isinstance(value, bytes) else value
        )
    return out


def typed(values):
    """Values as the codec takes them."""
    out = {}
    for name in values:
        value = values[name]
        out[name] = bytes.fromhex(value) if isinstance(value, str) else value
    return out


def record_right(case):
    data, tail = bytes.fromhex(case["bytes"]), bytes.fromhex(case["tail"])
    found = codec.decode_record(data)
    header = {name: found[name] for name in case["header"]}
    read = (found["kind"], header, plain(found["values"]), found["tail"])
    written = codec.encode_record(case["kind"], case["header"], typed(case["values"]), tail)
    return found["known"] and written == data and read == (case["kind"], case["header"], case["values"], tail)


def message_right(case):
    data = bytes.fromhex(case["bytes"])
    values, rest = messages.unpack(case["kind"], data)
    return (
        plain(values) == case["values"]
        and rest == b""
        and messages.pack(case["kind"], typed(case["values"])) == data
    )


def check(lines):
    """(number of cases, places of the wrong ones)."""
    wrong, count = [], 0
    for line in lines:
        case = json.loads(line)
        if not (record_right if case["what"] == "record" else message_right)(case):
            wrong.append(count)
        count += 1
    return count, wrong


if __name__ == "__main__":
    with open(sys.argv[1]) as file:
        total, bad = check(file)
    sys.stdout.write(json.dumps({"cases": total, "wrong": bad}) + "\n")
