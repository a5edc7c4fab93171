"""The real command line in a process that stays: a line in is a JSON list of words, a line out what came of it.

It saves the second that each start of the program takes; everything between the words and the exit code is the
program's own.
"""

import contextlib
import io
import json
import resource
import sys
import traceback
from typing import Any

from curbtick.commands.start import main


def run(words: list[str]) -> dict[str, Any]:
    """Run the command: exit code, both outputs, and the traceback of what got through."""
    out, err = (io.TextIOWrapper(io.BytesIO(), encoding="utf-8", write_through=True) for _ in range(2))
    sys.argv = ["curbtick", *words]
    code: Any = 0
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            main()
        except SystemExit as end:
            code = end.code or 0
        except BaseException:  # what nothing caught is the finding
            code = 70
            traceback.print_exc()
    said, wrong = (text.buffer.getvalue().decode("utf-8", "replace") for text in (out, err))  # type: ignore[attr-defined]
    return {"code": code, "out": said, "err": wrong, "peak_kb": peak_kb()}


def peak_kb() -> int:
    """Peak memory so far, in kB (Linux)."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss


if __name__ == "__main__":
    answers = sys.stdout
    for line in sys.stdin:
        print(json.dumps(run(json.loads(line))), file=answers, flush=True)
