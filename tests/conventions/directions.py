"""The table of rooms: what lives in each, and which others it may import.

This is the one definition of the directions. A room is a folder of Python files, named as it is imported. What a room's
row does not name is forbidden to it.
"""

from dataclasses import dataclass


@dataclass(frozen=True)
class Room:
    """A room: its dotted name, what lives there, and the names of the rooms that it may import."""

    name: str
    what: str
    imports: tuple[str, ...] = ()


def _room(name: str, what: str, imports: str = "") -> Room:
    """A row; a leading dot in `imports` stands for the package of the row."""
    package = name.split(".", maxsplit=1)[0]
    return Room(
        name, what, tuple(package + word if word.startswith(".") else word for word in imports.split())
    )


ROOMS = (
    _room(
        "curbtick_wire",
        "messages, records, names, settings, codec, COBS, frames: tables and pure functions, no input or "
        "output",
    ),
    _room(
        "curbtick_probe",
        "the version, the bit of each reason, what a board is, an update of the seal and hiss meters",
        "curbtick_wire",
    ),
    _room(
        "curbtick_probe.dsp",
        "integer kernels that several checks share: sine tables, FFT, extent, logarithms",
    ),
    _room(
        "curbtick_probe.dsp.burst",
        "samples to bursts: baseband, spectrum, noise floor, a close look at one sound",
    ),
    _room(
        "curbtick_probe.dsp.train",
        "loops over the sounds of a reading: regular chains, beats, likeness, columns",
    ),
    _room("curbtick_probe.dsp.tone", "the seal check's tone: mixer and spectral cells", ".dsp"),
    _room("curbtick_probe.dsp.hiss", "the hiss check's spectra and steady lines", ".dsp"),
    _room(
        "curbtick_probe.bumper",
        "one reading: listen, measure, verdict, snippet; a bumper's result",
        "curbtick_wire curbtick_probe .dsp .dsp.burst .bumper.trains",
    ),
    _room(
        "curbtick_probe.bumper.trains",
        "sounds to evidence: the held sensor's train, the system's cycle, the siblings",
        "curbtick_wire .dsp.train",
    ),
    _room(
        "curbtick_probe.seal",
        "the seal check: meter, sections, verdict",
        "curbtick_wire curbtick_probe .dsp .dsp.tone",
    ),
    _room(
        "curbtick_probe.hiss",
        "the hiss check: meter, background, rise, sections, verdict",
        "curbtick_wire curbtick_probe .dsp .dsp.hiss",
    ),
    _room(
        "curbtick_probe.store",
        "what survives a power cut: log, slots, clock, keys",
        "curbtick_wire curbtick_probe",
    ),
    _room(
        "curbtick_probe.store.settings",
        "what a bench sends and a slot keeps: limit set, round, calibration",
        "curbtick_wire .store",
    ),
    _room(
        "curbtick_probe.link",
        "frames to requests: who may ask what, and the replies",
        "curbtick_wire curbtick_probe .store .store.settings",
    ),
    _room("curbtick_probe.panel", "bar patterns, gestures, beeper", "curbtick_wire curbtick_probe"),
    _room(
        "curbtick_probe.app",
        "the state machine that ties the rooms together; the self-test",
        "curbtick_wire curbtick_probe .dsp .bumper .store .store.settings .link .panel .app.meters",
    ),
    _room(
        "curbtick_probe.app.meters",
        "the live meters of the seal and the hiss check, and the touches that end a listening",
        "curbtick_wire curbtick_probe .seal .hiss .panel",
    ),
    _room("curbtick_probe.board", "which version of the firmware starts"),
    _room("curbtick_probe.board.rp2", "the real board: the only files that touch hardware", "curbtick_wire"),
    _room("curbtick_probe.board.virtual", "the same board on the MicroPython unix port", "curbtick_wire"),
    _room(
        "curbtick_probe.virtual",
        "programs of a virtual probe",
        "curbtick_wire .seal .hiss .board.virtual",
    ),
    _room(
        "curbtick",
        "errors, dates, verdicts, air, progress, cautions, extras, where the probe's sources are",
        "curbtick_wire",
    ),
    _room(
        "curbtick.link",
        "the serial port, requests and replies, download, pull, pairing keys",
        "curbtick_wire curbtick",
    ),
    _room(
        "curbtick.store.database",
        "where the database is, SQLite and server, their errors in words",
        "curbtick",
    ),
    _room(
        "curbtick.store",
        "the tables of a history, their keys, decoding, unbroken ranges, versions",
        "curbtick_wire curbtick .store.database",
    ),
    _room(
        "curbtick.store.journal",
        "entries: their kinds, what names them, the order in which they count",
        "curbtick_wire .store",
    ),
    _room(
        "curbtick.store.fold",
        "everything that follows from records and entries: places, times, vehicles, findings",
        "curbtick_wire .store.database .store .store.journal",
    ),
    _room(
        "curbtick.store.history",
        "an open history: pulls, notes, what arrives, check and rebuild, roles",
        "curbtick .store.database .store .store.journal .store.fold",
    ),
    _room(
        "curbtick.store.sync",
        "two histories made one",
        "curbtick .store.database .store .store.journal .store.history",
    ),
    _room(
        "curbtick.sound",
        "what a sound is: snippets, tones, recordings, flow through a hole, a reading as JSON",
        "curbtick_wire curbtick",
    ),
    _room(
        "curbtick.limits",
        "limit sets, their fit to the fleet, guard band, repeatability study",
        "curbtick_wire curbtick .store .store.history",
    ),
    _room(
        "curbtick.fleet",
        "vehicles, rounds, readings, sections of the seal and hiss checks",
        "curbtick_wire curbtick .store .store.fold .store.history .sound",
    ),
    _room(
        "curbtick.fleet.places",
        "which reading counts at a place, and how the place stands",
        "curbtick_wire .store .fleet",
    ),
    _room(
        "curbtick.fleet.fading",
        "which positions fade, judged over the whole fleet",
        "curbtick_wire curbtick .store .limits",
    ),
    _room(
        "curbtick.fleet.work",
        "findings, repairs, swaps, assigned readings, the reread list",
        "curbtick_wire curbtick .store .store.journal .store.fold .store.history .limits .fleet "
        ".fleet.places .fleet.fading",
    ),
    _room(
        "curbtick.fleet.probes",
        "names and health of probes",
        "curbtick_wire curbtick .store .store.history .limits .fleet",
    ),
    _room(
        "curbtick.exchange",
        "a probe and a history: pull, send",
        "curbtick_wire curbtick .link .store .store.fold .store.history .limits .fleet .fleet.work",
    ),
    _room(
        "curbtick.report",
        "the site, sheets, exports",
        "curbtick_wire curbtick .store .store.history .sound .limits .fleet .fleet.places .fleet.work "
        ".fleet.fading .fleet.probes .report.pages .report.views",
    ),
    _room(
        "curbtick.report.pages",
        "a function for each page",
        "curbtick_wire curbtick .sound .limits .fleet .fleet.places .fleet.work .fleet.probes "
        ".report.views .report.drawings",
    ),
    _room(
        "curbtick.report.views",
        "what pages say of a place, a leak, a reading",
        "curbtick_wire curbtick .limits .fleet .fleet.places .fleet.work .fleet.fading .report.drawings",
    ),
    _room("curbtick.report.drawings", "drawings and pictures", "curbtick_wire curbtick .sound"),
    _room(
        "curbtick.web",
        "the page of this computer: server and actions",
        "curbtick_wire curbtick .link .store.history .fleet .fleet.work .exchange .report "
        ".report.views .report.drawings",
    ),
    _room("curbtick.install", "the firmware's image and its way onto a board", "curbtick .install.squeeze"),
    _room("curbtick.install.squeeze", "sources made small for a chip's memory"),
    _room(
        "curbtick.hardware",
        "the probe's parts, nets and rails as tables, and what follows from them",
        "curbtick_wire",
    ),
    _room(
        "curbtick.yard.front_end",
        "microphone, amplifier and converter, and the yard's time axis",
        "curbtick_wire .hardware",
    ),
    _room("curbtick.yard.air", "sound in air and in the collar", "curbtick .yard.front_end"),
    _room(
        "curbtick.yard.sounds",
        "sensors, noise, other machines: what sounds and when",
        "curbtick_wire curbtick .yard.front_end .yard.air",
    ),
    _room(
        "curbtick.yard.ear",
        "all sounds at one microphone, and what is wrong with it",
        "curbtick_wire .yard.front_end .yard.sounds",
    ),
    _room(
        "curbtick.yard.truth",
        "what a reading must say",
        "curbtick_wire .yard.front_end .yard.sounds .yard.ear",
    ),
    _room(
        "curbtick.yard.scenes",
        "scenes, their population, the invented depot",
        "curbtick_wire curbtick .yard.front_end .yard.air .yard.sounds .yard.ear .yard.truth",
    ),
    _room("curbtick.yard", "the invented yard"),
    _room("curbtick.virtual", "the virtual probe"),
    _room(
        "curbtick.virtual.probe",
        "the real firmware as a process: bus, flash file",
        "curbtick_wire curbtick .yard.front_end",
    ),
    _room(
        "curbtick.virtual.panel",
        "bar, pictures, the terminal",
        "curbtick_wire curbtick .yard.ear .yard.scenes .virtual.probe",
    ),
    _room(
        "curbtick.virtual.replay",
        "recordings and scenes through the real firmware",
        "curbtick_wire curbtick .link .sound .yard.front_end .yard.ear .yard.scenes .virtual.probe",
    ),
    _room(
        "curbtick.virtual.demo",
        "the demo day and its technician",
        "curbtick_wire curbtick .link .store .store.history .limits .fleet .fleet.places .fleet.work "
        ".exchange .report .yard.ear .yard.scenes .virtual.probe .virtual.panel",
    ),
    _room("curbtick.commands", "the command line's start, output and error words", "curbtick"),
    _room(
        "curbtick.commands.probe",
        "commands that speak to a probe",
        "curbtick_wire curbtick .link .store.history .limits .fleet .fleet.probes .exchange .report "
        ".report.pages .install .commands .commands.history",
    ),
    _room(
        "curbtick.commands.history",
        "commands on a history",
        "curbtick_wire curbtick .store.database .store .store.history .store.sync .sound .limits "
        ".fleet .fleet.places .fleet.work .report .report.pages .report.views .report.drawings .web "
        ".commands",
    ),
    _room(
        "curbtick.commands.virtual",
        "commands that need no probe",
        "curbtick_wire curbtick .store.history .sound .report.views .virtual.probe .virtual.panel "
        ".virtual.replay .virtual.demo .commands",
    ),
)
