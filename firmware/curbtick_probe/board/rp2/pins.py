"""The pin table: which pin of the controller board does what.

The firmware takes its pin numbers from here, and hardware_notes draws the wiring diagram and the pinout
from it. A row is (GPIO number, pad on the 40-pad board or 0 for a signal that stays on the board, name,
kind). Kinds: "led" through its resistor to an LED's anode; "button" to ground, closed when
pressed; "beeper"; "analogue"; "uart" optional second serial; "board" wired on the controller board itself.
"""

PINS = (
    (0, 1, "uart_tx", "uart"),
    (1, 2, "uart_rx", "uart"),
    (2, 4, "bar_1", "led"),
    (3, 5, "bar_2", "led"),
    (4, 6, "bar_3", "led"),
    (5, 7, "bar_4", "led"),
    (6, 9, "bar_5", "led"),
    (7, 10, "bar_6", "led"),
    (8, 11, "bar_7", "led"),
    (9, 12, "bar_8", "led"),
    (10, 14, "bar_9", "led"),
    (11, 15, "bar_10", "led"),
    (12, 16, "bar_11", "led"),
    (13, 17, "bar_12", "led"),
    (14, 19, "read", "button"),
    (15, 20, "step", "button"),
    (16, 21, "beeper", "beeper"),
    (23, 0, "quiet_supply", "board"),
    (24, 0, "usb_power", "board"),
    (26, 31, "low", "analogue"),
    (27, 32, "high", "analogue"),
    (28, 34, "padded", "analogue"),
    (29, 0, "supply", "board"),
)

# Where each leads, for the drawing.
GOES_TO = {
    "uart_tx": "optional serial adapter, receive",
    "uart_rx": "optional serial adapter, transmit",
    "bar_1": "LED 1, leftmost",
    "bar_2": "LED 2",
    "bar_3": "LED 3",
    "bar_4": "LED 4",
    "bar_5": "LED 5",
    "bar_6": "LED 6",
    "bar_7": "LED 7",
    "bar_8": "LED 8",
    "bar_9": "LED 9",
    "bar_10": "LED 10",
    "bar_11": "LED 11",
    "bar_12": "LED 12, rightmost",
    "read": "READ button",
    "step": "STEP button",
    "beeper": "piezo beeper through 100 ohm",
    "quiet_supply": "supply mode: high for low ripple",
    "usb_power": "high when the USB cable brings power",
    "low": "front end, low gain",
    "high": "front end, high gain",
    "padded": "front end, padded",
    "supply": "a third of the supply voltage",
}

BAR_LEDS = 12
_ADC_FIRST_GPIO = 26


def gpio(name: str) -> int:
    """Return the GPIO number of the pin called name; raises KeyError for a name that is not in the table."""
    for number, _pad, pin, _kind in PINS:
        if pin == name:
            return number
    raise KeyError(name)


def adc_channel(name: str) -> int:
    """Return the ADC channel of an analogue pin."""
    return gpio(name) - _ADC_FIRST_GPIO
