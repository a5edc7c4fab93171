"""The self-test's words, with the bounds that its own source gives."""

import re
from pathlib import Path

from curbtick_wire import sampling

ROOT = Path(__file__).resolve().parents[2]


def bounds() -> dict[str, int]:
    """The constants of the probe's self-test. Raises FileNotFoundError when it is not where firmware lives."""
    found = sorted((ROOT / "firmware").rglob("selftest.py"))
    if not found:
        raise FileNotFoundError("the self-test is not below firmware/: the build page cannot give its bounds")
    lines = re.findall(r"^([A-Z_]+) = const\((-?\d+)\)", found[0].read_text(encoding="utf-8"), re.MULTILINE)
    return {name: int(value) for name, value in lines}


def words() -> dict[str, str]:
    """What each word of the self-test looks at, with its bounds."""
    b = bounds()
    low, high = b["LOW_FLOOR_MIN_CDB"] / 100, b["LOW_FLOOR_MAX_CDB"] / 100
    cold, hot = b["TEMPERATURE_MIN_DDEG"] / 10, b["TEMPERATURE_MAX_DDEG"] / 10
    return {
        "bias": f"all three inputs rest within {b['BIAS_SLACK_CODES']} codes of {sampling.MID_CODE}",
        "low_floor": f"the quiet low input lies between {low:g} and {high:g} dBFS",
        "microphone": "the quiet high input lies within the limit set's floor",
        "rate": f"sampling takes its time within {b['RATE_SLACK_PERMILLE'] / 10:g} %",
        "flash": "a file comes back as it was written",
        "buttons": f"no button is held for {b['BUTTON_WAIT_MS'] / 1000:g} s",
        "battery": f"the supply lies between the limit set's least and {b['BATTERY_MAX_MV'] / 1000:g} V",
        "temperature": f"the chip says {cold:g} to {hot:g} degrees C",
        "beeper": f"its own beep lifts the high input by {b['BEEP_RISE_CDB'] / 100:g} dB or more",
    }
