"""Two checks of the power-cut campaign itself. Runs on MicroPython.

micropython -m powercut.really           cuts sessions for real: "same" if the flash is as the journal says
micropython -m powercut.really broken    breaks promises on purpose: "seen" if the campaign notices each
"""

import sys

from curbtick_probe.store import shelf as log_shelf
from curbtick_probe.store import slots
from curbtick_probe.store import state as log_state
from powercut.main import Campaign
from powercut.session import SESSIONS, Diary, Session, mount, unmount
from torn_flash import MODES, PowerCut, TornFlash, apply, tear

STRIDE = 173


def _really(campaign, cut):
    """The flash after a session that was really cut."""
    sectors, _worn, work, _stamps = SESSIONS[campaign.name]
    flash = TornFlash(sectors, campaign.before, cut)
    mount(flash)
    try:
        work(Session(flash, Diary()))
    except PowerCut:
        flash.let_go()
    unmount()
    return flash.image


def same_as_journal(name):
    """Compare a real cut at every STRIDE-th operation with the journal's."""
    campaign = Campaign(name)
    image = bytearray(campaign.before)
    for place, operation in enumerate(campaign.journal):
        if place % STRIDE == 0:
            mode = MODES[operation[0]][place // STRIDE % len(MODES[operation[0]])]
            torn = bytearray(image)
            tear(torn, operation, mode, place)
            if torn != _really(campaign, (place, mode, place)):
                return "differs at " + name + "@" + str(place)
        apply(image, operation)
    return "same"


def _no_flush(shelf):
    """A log that promises before it flushes."""


def _put_in_place(self, payload):
    """A slot that overwrites the only newest value."""
    with open(self._paths[self._place], "wb") as file:
        file.write(slots.seal(self.generation + 1, payload)[:-1])
    self.newest = bytes(payload)


_made = log_state.State.__init__


def _draw_at_each_start(self, root):
    """A log that takes another id at each start."""
    _made(self, root)
    self.log_id = log_state.draw_log_id()


def breaks():
    """The promises that are broken, one at a time: (words, where, name, replacement)."""
    return (
        ("readings not flushed", log_shelf.Shelf, "flush", _no_flush),
        ("slots not whole", slots.Slots, "put", _put_in_place),
        ("another id at each start", log_state.State, "__init__", _draw_at_each_start),
    )


def all_seen():
    """Whether the campaign sees every broken promise."""
    for words, where, name, replacement in breaks():
        whole = getattr(where, name)
        setattr(where, name, replacement)
        campaign = Campaign("day")
        campaign.run(1, 211, 0, 1)
        setattr(where, name, whole)
        if not campaign.violations:
            return "missed: " + words
    return "seen"


if __name__ == "__main__":
    print(all_seen() if len(sys.argv) > 1 else same_as_journal("day"))
