"""Start the firmware version in force. `curbtick install` puts this file on a board as main.py, as it stands here.

Two versions lie side by side in /fw; the file /fw/active names the one to start. What goes wrong while
starting ends at MicroPython's prompt, where `curbtick install` can reach the board.
"""

import sys

try:
    with open("/fw/active") as file:
        slot = file.read().strip()
except OSError:
    slot = ""

if slot:
    sys.path.insert(0, "/fw/" + slot)
    import main  # noqa: F401 - the version's own main.py
