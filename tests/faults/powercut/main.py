"""Cut the power at every flash operation of a session, restart, cut again, restart. Runs on MicroPython.

    micropython -m powercut.main SESSION SEED STRIDE SHARD/SHARDS    every STRIDE-th operation of this shard
    micropython -m powercut.main ID                                  one cut again, such as day@120:subset:9

The session runs once, uncut, and its flash operations are kept in a journal. A cut is then the flash as the
journal left it before that operation, with that operation torn: the same bytes as if the session had been
cut there, which test_powercut.py checks by really cutting it. The second cut is made for real, while the
restarted probe recovers and goes on.

The last line is one JSON object: cuts tried, violations with the id that replays each.
"""

import json
import sys

from powercut.check import problems
from powercut.session import (
    SESSIONS,
    Diary,
    Session,
    Stamps,
    advances_before_move,
    begin,
    format_flash,
    mount,
    tail,
    unmount,
)
from torn_flash import MODES, Dice, PlainFlash, PowerCut, TornFlash, apply, cut_id, parse_cut, tear


def rehearse(name):
    """(image before, journal, diary) of a session run uncut."""
    sectors, worn, work, Stamps.on = SESSIONS[name]
    advances = advances_before_move(sectors) - 2 if worn else 0
    flash = PlainFlash(sectors)
    format_flash(flash)
    before = bytes(flash.image)
    flash.operations, flash.journal = 0, []
    mount(flash)
    session = Session(flash, Diary())
    if worn:
        before = wear(flash, session, advances)
    work(session)
    unmount()
    return before, flash.journal, session.diary


def wear(flash, session, advances):
    """Bring a new device to that many signed requests; cuts begin after them: the image then."""
    begin(session)
    for _ in range(advances):
        session.advance()
    session.diary = session.diary.child(flash.operations)
    flash.operations, flash.journal = 0, []
    return bytes(flash.image)


def start(flash, diary):
    """(session, problems) of a probe started from a flash: what it holds is held against the diary, then trusted."""
    mount(flash)
    held_against = diary.child(0)
    session = Session(flash, diary)
    found = problems(held_against, session)
    session.observe()
    return session, found


def go_on(flash, diary):
    """Start and work on as tail() does: problems."""
    session, found = start(flash, diary)
    if not tail(session):
        found.append("a reading after everything was pulled found no room")
    return found


def careful(work, *arguments):
    """What a piece of work finds; an exception it ends with is a problem as well. The flash is let go of."""
    try:
        return work(*arguments)
    except Exception as error:
        return ["stopped by " + repr(error)]
    finally:
        unmount()


def only_start(flash, diary):
    """Start: problems."""
    return start(flash, diary)[1]


class Trial:
    """One cut, and one more while the probe recovers from it.

    image: the flash after the first cut; diary: as it stood then; seed: of the second cut.
    """

    def __init__(self, image, diary, seed):
        self._image = image
        self._diary = diary
        self._dice = Dice(seed)
        self.second = None
        self.rewrites = 0

    def first(self):
        """Problems after the first cut, and after the work that follows it and another start."""
        flash = TornFlash(len(self._image) // 4096, self._image)
        self._after = self._diary.child(0)
        found = careful(go_on, flash, self._after)
        self._operations = flash.operations
        self.rewrites = flash.rewrites
        return found + careful(only_start, PlainFlash(flash.blocks, flash.image), self._after.child(1 << 30))

    def again(self):
        """Problems after the second cut, made while the probe does again exactly what it did after the first one.

        Reading counts: which files are open changes where littlefs writes, never what it keeps.
        """
        if self._operations == 0:
            return ["nothing was written after the restart"]
        place = self._dice.below(min(self._operations, 65536))
        mode = MODES[0][self._dice.below(len(MODES[0]))]
        cut = (place, mode, self._dice.below(65536))
        self.second = cut_id(*cut)
        flash = TornFlash(len(self._image) // 4096, self._image, cut)
        try:
            go_on(flash, self._diary.child(0))
            unmount()
        except PowerCut:
            flash.let_go()
        finally:
            unmount()
        if not flash.off:
            return ["the second cut never came"]
        return careful(only_start, PlainFlash(flash.blocks, flash.image), self._after.child(place))


class Campaign:
    """Counts trials. `violations`: each its id and what was wrong."""

    def __init__(self, name):
        self.name = name
        self.before, self.journal, self.diary = rehearse(name)
        self.cuts = self.second_cuts = self.rewrites = 0
        self.violations = []

    def try_cut(self, image, cut):
        """One trial: image is the flash before the cut's operation."""
        operation, mode, seed = cut
        torn = bytearray(image)
        tear(torn, self.journal[operation], mode, seed)
        trial = Trial(torn, self.diary.child(operation), seed)
        found = trial.first()
        self.cuts += 1
        if not found:
            found = trial.again()
            self.second_cuts += 1
        self.rewrites += trial.rewrites
        if found:
            name = self.name + "@" + cut_id(*cut)
            self.violations.append({"id": name, "second": trial.second, "problems": found[:5]})

    def run(self, seed, stride, shard, shards):
        """Every stride-th operation of this shard, each in all its modes."""
        image = bytearray(self.before)
        for place, operation in enumerate(self.journal):
            if place % stride == 0 and place // stride % shards == shard:
                for number, mode in enumerate(MODES[operation[0]]):
                    self.try_cut(image, (place, mode, seed * 1000003 + place * 5 + number))
            apply(image, operation)

    def replay(self, cut):
        """One cut by its id."""
        image = bytearray(self.before)
        for operation in self.journal[: cut[0]]:
            apply(image, operation)
        self.try_cut(image, cut)

    def report(self):
        """Print the outcome as JSON."""
        print(
            json.dumps(
                {
                    "session": self.name,
                    "operations": len(self.journal),
                    "cuts": self.cuts,
                    "second_cuts": self.second_cuts,
                    "rewrites": self.rewrites,
                    "violation_count": len(self.violations),
                    "violations": self.violations[:20],
                }
            )
        )


def main(arguments):
    """Run what the arguments ask for."""
    if len(arguments) == 1:
        name, cut = arguments[0].split("@")
        campaign = Campaign(name)
        campaign.replay(parse_cut(cut))
    else:
        campaign = Campaign(arguments[0])
        shard, shards = arguments[3].split("/")
        campaign.run(int(arguments[1]), int(arguments[2]), int(shard), int(shards))
    campaign.report()


if __name__ == "__main__":
    main(sys.argv[1:])
