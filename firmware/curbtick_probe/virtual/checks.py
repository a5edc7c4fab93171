"""Program of a virtual probe: one seal or hiss check on sounds that the bench plays, told back as JSON.

The bench answers the first question with the job: mode, limits, and how many updates each part takes; it puts the part
that is named by a later question before the microphone, and takes the result last.
"""

import json

from curbtick_wire._typing import Any, Values

from curbtick_probe import reason
from curbtick_probe.board.virtual.board import Board
from curbtick_probe.hiss.check import HissCheck
from curbtick_probe.seal.check import SealCheck


class Play:
    """One check on played sounds; `job` as the bench gives it."""

    def __init__(self, board: Board) -> None:
        self._bus = board.bus
        self.job = self._tell({"ask": "job"})
        result = self.seal(board) if self.job["mode"] == "seal" else self.hiss(board)
        self._tell(result)

    def _tell(self, what: Values) -> Any:
        return json.loads(self._bus.ask(json.dumps(what).encode()))

    def _turn_to(self, check: Any, part: str) -> None:
        """Have a part played from its beginning, and begin to listen to it."""
        check.stop()
        self._tell({"ask": part})
        check.start()

    def seal(self, board: Board) -> Values:
        """Take the reference if there is one, one section, and the reference after it if there is one."""
        job = self.job
        check = SealCheck(board, job["tone_hz"], job["limits"], switch_input=False)
        if job["before"]:
            self._turn_to(check, "before")
            check.reference(job["before"])
        self._turn_to(check, "section")
        for _ in range(job["section"]):
            check.update()
        section = check.section
        values = check.mark()
        if check.reference_cdb is not None:
            values = self._settled(check, section)
        return {"values": values, "agreeing": section.agreeing, "heard": section.heard}

    def _settled(self, check: SealCheck, section: Any) -> Any:
        """The section's values; without a reference after it, the tone heard to its end shows that the source lives."""
        if self.job["after"]:
            self._turn_to(check, "after")
            return check.reference(self.job["after"])[0]
        if section.alive():
            return check.confirm(check.reference_cdb)[0]
        return check.confirm(None, reason.TONE_LOST)[0]

    def hiss(self, board: Board) -> Values:
        """Learn the background if there is one, and search one section."""
        job = self.job
        check = HissCheck(board, job["limits"])
        if job["before"]:
            self._turn_to(check, "before")
            choose = max(1, min(5, job["before"] // 5))
            check.background(job["before"] - choose, choose)
        self._turn_to(check, "section")
        for _ in range(job["section"]):
            check.update()
        tones = check.section.tones
        known = check.known
        return {
            "values": check.mark(),
            "tones": tones,
            "threshold_cdb": known.unrest.threshold_cdb if known else None,
            "stationary": known.unrest.stationary if known else None,
        }


Play(Board())
