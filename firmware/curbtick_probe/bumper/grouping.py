"""The sounds of a reading sorted into trains: the held sensor's, the siblings', echoes and the rest."""

from curbtick_probe.bumper import cycle, siblings
from curbtick_probe.bumper.sounds import Sounds
from curbtick_probe.bumper.train import HELD_LEAST, Trains


def sort(trains: Trains, sounds: Sounds, listened_us: int) -> None:
    """Group the sounds of a reading that has listened for so long; sets the kinds of the sounds."""
    look(trains, sounds, listened_us)
    if trains.count < HELD_LEAST:
        trains.find_odd(sounds, listened_us)
    look_faintly(trains, sounds, listened_us)
    siblings.name_others(trains, sounds)


def look(trains: Trains, sounds: Sounds, listened_us: int) -> None:
    """Sort the held train alone. What verdict.clearly_passes asks is as `sort` leaves it."""
    trains.find_held(sounds, listened_us)
    find_cycle(trains, sounds, listened_us)


def find_cycle(trains: Trains, sounds: Sounds, listened_us: int) -> None:
    """After Trains.find_held, find out how often the system really fires; sounds may have come since."""
    if trains.count >= 2:
        trains.mark(sounds)
        trains.take_phases(sounds)
        cycle.explain_twins(trains, sounds, listened_us)
        cycle.find_quicker(trains, sounds, listened_us)


def look_faintly(trains: Trains, sounds: Sounds, listened_us: int) -> None:
    """After `look`, find the siblings' train, faint candidates included; sounds may have come since."""
    trains.mark(sounds)
    siblings.find(trains, sounds, listened_us)
    cycle.share_that_repeats(trains, sounds)
