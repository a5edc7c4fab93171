"""The usual cautions, once, for every page and screen that carries them."""

# What no probe that listens can know, and who can: it stands wherever PASS is explained.
PASS_NOTE = (
    "PASS says that a sensor sends as it should. Whether it hears, no probe that listens can know: chock the wheels, "
    "let a person stand 0.6 m in front of each sensor in turn, and see that the vehicle's own display shows them there."
)

CAUTIONS = (
    PASS_NOTE,
    "Immobilise the vehicle: chocks, and where the parking brake switches the system off, a second person at the "
    "wheel and the brakes held. Ventilate. Nobody between vehicle and wall.",
    "The verdict is a workshop screening aid, not a safety certificate, and says nothing about conformity with "
    "ISO 17386 or UN R158. Repair by the vehicle maker's procedure and local rules, by those licensed to.",
    "Tone source: nobody in the cabin while it plays; follow local noise limits.",
    "Pressurised parts: eye protection, never above rated pressure, keep hands and face out of jets.",
)

# One false alarm in so many seconds, at most, where the background wanders by 0.1 to 1 dB (standard deviation, over a
# fifth of a second to ten seconds): what tests/bench/hiss.py holds the probe to.
HISS_WANDER_ALARM_S = 50
HISS_HINT = (
    "Move on along the fittings at walking speed, no further away than 40 cm; stop for 1.5 s where the bar rises. A "
    "leak that hisses for less than 50 ms at a time sounds like keys or knocks: the section is RETRY then, too gusty "
    "to decide."
)
HISS_NOTE = (
    f"Where the background wanders by 0.1 to 1 dB, at most one second in {HISS_WANDER_ALARM_S} is wrongly called a "
    "hiss, taken over such backgrounds as a whole; slow wandering by about 0.4 dB is the worst and exceeds that. "
    "Beyond 1 dB the probe says that it is too gusty. In steady noise at most one section of 30 s in 100 is wrong. "
    "Where it matters, mark the spot again."
)
