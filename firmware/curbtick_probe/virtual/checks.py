"""Program of a virtual probe: one seal or hiss check on sounds that the bench plays, told back as JSON.

The bench answers the first question with the job: mode, limits, and how many updates each part takes; it puts the part
that is named by a later question before the microphone, and takes the result last.
"""

import json

from curbtick_wire._typing import Any, Values

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

    def _turn_to(self, part: str) -> None:
        """Have a part played from its beginning."""
        self._tell({"ask": part})

    def _listen(self, check: Any) -> None:
        """Listen to the section."""
        self._turn_to("section")
        try:
            check.start()
            for _ in range(self.job["section"]):
                check.update()
        finally:
            check.stop()

    def seal(self, board: Board) -> Values:
        """Take the reference if there is one, one section, and the reference after it if there is one."""
        job = self.job
        check = SealCheck(board, job["tone_hz"], job["limits"], switch_input=False)
        if job["before"]:
            self._turn_to("before")
            check.reference(job["before"])
        self._listen(check)
        values = check.mark()
        if check.reference_cdb is not None:
            values = self._settled(check)
        return {"values": values}

    def _settled(self, check: SealCheck) -> Any:
        """The section's values, confirmed by the reference after it or, where there is none, by what was heard."""
        if self.job["after"]:
            self._turn_to("after")
            return check.reference(self.job["after"])[0]
        return check.settle_alone()[0]

    def hiss(self, board: Board) -> Values:
        """Learn the background if there is one, and search one section."""
        job = self.job
        check = HissCheck(board, job["limits"])
        if job["before"]:
            self._turn_to("before")
            choose = max(1, min(5, job["before"] // 5))
            check.background(job["before"] - choose, choose)
        self._listen(check)
        tones = check.section.tones.rows()
        known = check.known
        return {
            "values": check.mark(),
            "tones": tones,
            "threshold_cdb": known.unrest.threshold_cdb if known else None,
            "stationary": known.unrest.stationary if known else None,
        }


Play(Board())
