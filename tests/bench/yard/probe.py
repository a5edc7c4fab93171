"""Runs under MicroPython on the virtual board: takes the readings that the yard benchmark asks for, one by one."""

import json

from curbtick_probe.board.virtual.board import Board
from curbtick_probe.bumper import reading

board = Board()
answer = b"{}"
while True:
    asked = json.loads(board.bus.ask(answer))
    if not asked:
        break
    started_us = board.ticks_us()
    taken = reading.take(board, asked["limits"], asked["limit_set"], asked["before_us"])
    taken.values["took_us"] = board.ticks_us() - started_us
    taken.values["snippet_bytes"] = len(taken.snippet[1]) if taken.snippet else 0
    answer = json.dumps(taken.values).encode()
