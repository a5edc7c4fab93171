"""Air at the reference temperature, as ISO 9613-1:1993 has it: the one definition for sounds and for leaks."""

REFERENCE_KELVIN = 293.15
REFERENCE_SOUND_M_S = 343.2
REFERENCE_PA = 101_325.0
# 0 degrees Celsius; and a neper in decibels, 20 / ln 10.
FREEZING_KELVIN = 273.15
NEPER_DB = 8.686
