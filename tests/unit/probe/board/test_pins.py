"""The pin table against the controller board's own pinout.

Source: the 40-pad board's pinout as its data sheet prints it (Raspberry Pi Pico data sheet, figure 2; from
memory).
"""

from curbtick_probe.board.rp2 import pins

# Pad of each GPIO on the 40-pad board; GPIO 23, 24, 25 and 29 stay on the board.
PADS = {
    0: 1, 1: 2, 2: 4, 3: 5, 4: 6, 5: 7, 6: 9, 7: 10, 8: 11, 9: 12, 10: 14, 11: 15, 12: 16, 13: 17, 14: 19,
    15: 20, 16: 21, 17: 22, 18: 24, 19: 25, 20: 26, 21: 27, 22: 29, 26: 31, 27: 32, 28: 34,
}  # fmt: skip


def test_pads_are_those_of_the_board() -> None:
    for gpio, pad, name, *_ in pins.PINS:
        assert pad == PADS.get(gpio, 0), name


def test_no_pin_or_name_twice() -> None:
    assert len({row[0] for row in pins.PINS}) == len({row[2] for row in pins.PINS}) == len(pins.PINS)


def test_analogue_pins_are_the_adc_s() -> None:
    channels = {row[2]: pins.adc_channel(row[2]) for row in pins.PINS if row[3] == "analogue"}
    assert sorted(channels.values()) == [0, 1, 2]


def test_bar_runs_left_to_right_over_neighbouring_pads() -> None:
    numbers = [pins.gpio(f"bar_{led}") for led in range(1, pins.BAR_LEDS + 1)]
    assert numbers == sorted(numbers) and len(numbers) == 12


def test_uart_pins_are_uart_0_s() -> None:
    """GPIO 0 and 1 are UART0's transmit and receive (RP2040 data sheet section 1.4.3; from memory)."""
    assert (pins.gpio("uart_tx"), pins.gpio("uart_rx")) == (0, 1)
