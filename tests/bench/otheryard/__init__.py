"""A second yard: scenes for the three checks, made without knowledge of how the probe decides.

It shares no code with the product's own yard and none with the detectors; it takes the words of the wire from
`curbtick_wire`, the parts with their tolerances from `curbtick.hardware`, and nothing else. A scene is what the
converter delivers (`scene.read`) and what is right to say about it (`scene.truth`), and the second stands before the
first is heard. Everything follows from (seed, index).

Rooms: `physics` (air, levels, strips of noise), `front` (microphone, amplifiers, converter as built), `sensor`
(the transducer and what drives it), `vehicle` (who fires when, and through which wire), `foreign` (everything else
that sounds), `bumper`, `seal` and `jet` (the kinds of scenes for the three checks).

Levels are dB of full scale at the low input: 0 dBFS is a sine of 2047.5 codes peak. `python -m tests.bench.otheryard
--list` prints the kinds; without it the command has the firmware hear them, which tests/bench/hearing lets it do.
"""
