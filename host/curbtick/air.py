"""Air at the reference temperature, as ISO 9613-1:1993 has it: the one definition for sounds and for leaks."""

REFERENCE_KELVIN = 293.15
REFERENCE_SOUND_M_S = 343.2
REFERENCE_PA = 101_325.0
