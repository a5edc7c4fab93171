"""Runs under MicroPython's unix port: one JSON request a line in, the buffers after the call out.

Request: {"module": ..., "function": ..., "buffers": [[typecode, hex], ...], "args": [integer or [place of a
buffer]]}. Answer: {"result": ..., "buffers": [hex of each]} or {"error": ...}.
"""

import binascii
import json
import sys
from array import array

sys.path[:0] = sys.argv[1:]


def buffer_of(argument):
    """A writable buffer from [typecode, hex]; "B" becomes a bytearray."""
    kind, text = argument
    data = binascii.unhexlify(text)
    return bytearray(data) if kind == "B" else array(kind, data)


def serve(request):
    """Calls the function and returns the answer's object."""
    __import__(request["module"])
    function = getattr(sys.modules[request["module"]], request["function"])
    buffers = [buffer_of(b) for b in request["buffers"]]
    args = [a if isinstance(a, int) else buffers[a[0]] for a in request["args"]]
    result = function(*args)
    return {
        "result": int(result or 0),
        "buffers": [binascii.hexlify(bytes(memoryview(b))).decode() for b in buffers],
    }


while True:
    line = sys.stdin.readline()
    if not line:
        break
    try:
        answer = serve(json.loads(line))
    except Exception as error:
        answer = {"error": repr(error)}
    print(json.dumps(answer))
