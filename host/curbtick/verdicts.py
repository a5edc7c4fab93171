"""The verdicts of a reading in the order in which people read them."""

from curbtick_wire import names

# On the wire RETRY comes first; a reader expects it last, for it says nothing about the sensor.
BEST_FIRST = tuple(names.VERDICTS[number] for number in (names.PASS, names.WEAK, names.DEAD, names.RETRY))
