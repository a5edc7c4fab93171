"""The pin table: which pin of the controller board does what.

The firmware takes its pin numbers from here, and hardware_notes draws the wiring diagram and the pinout
from it. A row is (GPIO number, pad on the 40-pad board or 0 for a signal that stays on the board, name,
kind, where it goes). Kinds: "led" through its resistor to an LED's anode; "button" to ground, closed when
pressed; "beeper"; "analogue"; "uart" optional second serial; "board" wired on the controller board itself.
"""

PINS = (
    (0, 1, "uart_tx", "uart", "optional serial adapter, receive"),
    (1, 2, "uart_rx", "uart", "optional serial adapter, transmit"),
    (2, 4, "bar_1", "led", "LED 1, leftmost"),
    (3, 5, "bar_2", "led", "LED 2"),
    (4, 6, "bar_3", "led", "LED 3"),
    (5, 7, "bar_4", "led", "LED 4"),
    (6, 9, "bar_5", "led", "LED 5"),
    (7, 10, "bar_6", "led", "LED 6"),
    (8, 11, "bar_7", "led", "LED 7"),
    (9, 12, "bar_8", "led", "LED 8"),
    (10, 14, "bar_9", "led", "LED 9"),
    (11, 15, "bar_10", "led", "LED 10"),
    (12, 16, "bar_11", "led", "LED 11"),
    (13, 17, "bar_12", "led", "LED 12, rightmost"),
    (14, 19, "read", "button", "READ button"),
    (15, 20, "step", "button", "STEP button"),
    (16, 21, "beeper", "beeper", "piezo beeper through 100 ohm"),
    (23, 0, "quiet_supply", "board", "supply mode: high for low ripple"),
    (24, 0, "usb_power", "board", "high when the USB cable brings power"),
    (26, 31, "low", "analogue", "front end, low gain"),
    (27, 32, "high", "analogue", "front end, high gain"),
    (28, 34, "padded", "analogue", "front end, padded"),
    (29, 0, "supply", "board", "a third of the supply voltage"),
)

BAR_LEDS = 12
ADC_FIRST_GPIO = 26


def gpio(name):
    """Return the GPIO number of the pin called name; raises KeyError for a name that is not in the table."""
    for row in PINS:
        if row[2] == name:
            return row[0]
    raise KeyError(name)


def adc_channel(name):
    """Return the ADC channel of an analogue pin."""
    return gpio(name) - ADC_FIRST_GPIO
