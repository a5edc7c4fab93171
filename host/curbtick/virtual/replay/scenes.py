"""Run a scene of a seal or hiss check through the real firmware."""

from typing import Any

from curbtick_wire.sampling import TONE_HZ

from curbtick.virtual.replay.checks import Job, hiss_object, seal_object
from curbtick.yard.scenes.leaks import HISS_UPDATES, UPDATES, LeakScene


def run_scene(scene: LeakScene) -> dict[str, Any]:
    """Return the JSON object of a scene's section, as a replay makes it."""
    if scene.check == "seal":
        return seal_object(Job("seal", scene.ears(), UPDATES, TONE_HZ).run())
    return hiss_object(Job("hiss", scene.ears(), HISS_UPDATES).run())
