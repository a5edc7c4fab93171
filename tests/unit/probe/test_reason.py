"""The reason bits against the words of the wire."""

from curbtick_probe import reason
from curbtick_wire import names

# The bench alone tells these.
OF_THE_BENCH = {"log_full", "clock_unknown"}


def test_every_reason_has_the_bit_of_its_word() -> None:
    found = {word.lower(): bit for word, bit in vars(reason).items() if word.isupper()}
    assert found == {word: 1 << place for place, word in enumerate(names.REASONS) if word not in OF_THE_BENCH}
