"""The usual cautions, once, for every page and screen that carries them."""

CAUTIONS = (
    "Immobilise the vehicle: chocks, and where the parking brake switches the system off, a second person at the "
    "wheel and the brakes held. Ventilate. Nobody between vehicle and wall.",
    "The verdict is a workshop screening aid, not a safety certificate, and says nothing about conformity with "
    "ISO 17386 or UN R158. Repair by the vehicle maker's procedure and local rules, by those licensed to.",
    "Tone source: nobody in the cabin while it plays; follow local noise limits.",
    "Pressurised parts: eye protection, never above rated pressure, keep hands and face out of jets.",
)
