"""The two buttons: how presses become gestures, and the one table of what each gesture does.

Documentation and tests read GESTURE_TABLE; the app knows only the actions.
"""

READ = 1
STEP = 2
BOTH = 3

LONG_MS = 700
DOUBLE_MS = 300
# Held this long at power-up, STEP means pairing and both mean the REPL.
POWER_UP_MS = 400

# (check, gesture) -> action; for a gesture that is not in the table the panel says "refused" and does nothing else.
GESTURE_TABLE = {
    ("bumper", "read"): "read",
    ("bumper", "read_long"): "read_again",
    ("bumper", "step"): "next_position",
    ("bumper", "step_double"): "previous_position",
    ("bumper", "step_long"): "next_bumper",
    ("bumper", "both"): "next_vehicle",
    ("bumper", "both_double"): "self_test",
    ("bumper", "both_long"): "next_check",
    ("seal", "read"): "mark",
    ("seal", "read_long"): "reference",
    ("seal", "step"): "show_current",
    ("seal", "both"): "next_vehicle",
    ("seal", "both_long"): "next_check",
    ("hiss", "read"): "mark",
    ("hiss", "read_long"): "reference",
    ("hiss", "step"): "show_current",
    ("hiss", "step_long"): "response",
    ("hiss", "both"): "next_vehicle",
    ("hiss", "both_long"): "next_check",
}

POWER_UP_TABLE = {0: "start", READ: "start", STEP: "pairing", BOTH: "repl"}

_NAMES = ("", "read", "step", "both")


def has_double(check: str, buttons: int) -> bool:
    """Return whether a double press of these buttons means anything, so that a single one must wait for it."""
    return (check, _NAMES[buttons] + "_double") in GESTURE_TABLE


class Gestures:
    """Turns the held buttons over time into gestures: NAME, NAME_long, NAME_double of read, step and both.

    A press counts as "both" when the two buttons overlap at any time in it. A long press is reported while it is held.
    `pressed_ms`: when the button of the latest gesture went down; of a long one, when it had been held long enough.
    """

    def __init__(self) -> None:
        self.check = "bumper"
        self._held = 0
        self._since_ms = 0
        self._spent = False
        self._pending = 0
        self._pending_since_ms = 0
        self._double = False
        self.pressed_ms = 0

    def update(self, mask: int, now_ms: int) -> str | None:
        """Take the buttons as they are now; return a gesture or None. Call again within deadline_ms()."""
        if mask:
            return self._down(mask, now_ms)
        if self._held:
            return self._up(now_ms)
        if self._pending and self._pending_ms(now_ms) <= 0:
            return self._take_pending("")
        return None

    @property
    def idle(self) -> bool:
        """Whether no button is held and no single press waits for its second one."""
        return not self._held and not self._pending

    def deadline_ms(self, now_ms: int) -> int | None:
        """Return in how many ms update() must be called though no button changes, or None."""
        if self._held and not self._spent:
            return max(1, self._since_ms + LONG_MS - now_ms)
        if self._pending and not self._held:
            return max(1, self._pending_ms(now_ms))
        return None

    def _pending_ms(self, now_ms: int) -> int:
        """Return how long a single press still waits for its second one."""
        if not has_double(self.check, self._pending):
            return 0
        return self._pending_since_ms + DOUBLE_MS - now_ms

    def _down(self, mask: int, now_ms: int) -> str | None:
        if not self._held:
            self._since_ms = now_ms
            self._spent = False
            self._double = self._pending != 0
        self._held |= mask
        if self._spent or now_ms - self._since_ms < LONG_MS:
            return None
        self._spent = True
        self._pending = 0
        gesture = self._name(self._held, "_long")
        self.pressed_ms = now_ms
        return gesture

    def _up(self, now_ms: int) -> str | None:
        held = self._held
        self._held = 0
        if self._spent:
            return None
        if self._double and held == self._pending:
            return self._take_pending("_double")
        earlier = self._take_pending("") if self._pending else None
        self._pending = held
        self._pending_since_ms = now_ms
        return earlier or self.update(0, now_ms)

    def _take_pending(self, suffix: str) -> str:
        held = self._pending
        self._pending = 0
        return self._name(held, suffix)

    def _name(self, held: int, suffix: str) -> str:
        self.pressed_ms = self._since_ms
        return _NAMES[held] + suffix


def action(check: str, gesture: str) -> str | None:
    """Return what a gesture does in a check, or None when it does nothing."""
    return GESTURE_TABLE.get((check, gesture))
