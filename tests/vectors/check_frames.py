"""Holds the frame reader and encoder to frames.jsonl; runs on CPython and on MicroPython alike.

micropython check_frames.py frames.jsonl      prints one JSON line: {"cases": N, "wrong": [names]}
"""

import json
import sys

from curbtick_wire import cobs, frames


def unhex(text):
    return bytes.fromhex(text)


def reads_right(case):
    """Whether a reader fed with the pieces gives the frames and the counts."""
    reader = frames.FrameReader()
    found = []
    for piece in case["pieces"]:
        found.extend(reader.feed(unhex(piece)))
    expected = [(kind, request, unhex(payload)) for kind, request, payload in case["frames"]]
    counts = (reader.good, reader.damaged, reader.too_long)
    return found == expected and counts == (len(expected), case["damaged"], case["too_long"])


def writes_right(case):
    """Whether the encoder makes the very bytes, where the case is nothing but one frame."""
    if len(case["pieces"]) != 1 or len(case["frames"]) != 1 or case["damaged"]:
        return True
    kind, request, payload = case["frames"][0]
    data = frames.encode(kind, request, unhex(payload))
    return data == unhex(case["pieces"][0]) and cobs.encode(cobs.decode(data[:-1])) == data[:-1]


def check(lines):
    """(number of cases, names of the wrong ones)."""
    count, wrong = 0, []
    for line in lines:
        case = json.loads(line)
        count += 1
        if not (reads_right(case) and writes_right(case)):
            wrong.append(case["name"])
    return count, wrong


if __name__ == "__main__":
    with open(sys.argv[1]) as file:
        total, bad = check(file)
    sys.stdout.write(json.dumps({"cases": total, "wrong": bad}) + "\n")
