"""The bar's LEDs, all changed by one write, so that nobody sees half of an old mask with half of a new one.

Register numbers: RP2040 data sheet section 2.3.1 (SIO), RP2350 data sheet section 3.1 (SIO), as the vendor's own
register headers state them.
"""

from machine import Pin, mem32

from curbtick_probe.board.rp2 import chip, pins

_FIRST = pins.gpio("bar_1")
_ALL = (1 << pins.BAR_LEDS) - 1
_OUT = 0xD000_0010
_OUT_XOR = 0xD000_0028 if chip.RP2350 else 0xD000_001C


class Bar:
    """The LEDs' pins, which stand side by side from the left end on."""

    def __init__(self) -> None:
        for led in range(pins.BAR_LEDS):
            Pin(_FIRST + led, Pin.OUT, value=0)

    def show(self, mask: int) -> None:
        """Light the LEDs whose bits are set; bit 0 is the left end. The other pins stay as they are."""
        mem32[_OUT_XOR] = ((mem32[_OUT] >> _FIRST ^ mask) & _ALL) << _FIRST
