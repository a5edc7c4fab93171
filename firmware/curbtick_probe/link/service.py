"""What each request of the protocol does to the probe: the rooms it may touch, and the reply it gets.

Nothing here knows of frames or signatures. link.py calls an open request's method with its fields; a signed
one's, once the signature held, with its fields, its tail and the key it was signed with.
"""

import gc

from curbtick_wire import codec, messages, names
from curbtick_wire._typing import Callable, Reply, Values, Words

from curbtick_probe import VERSION
from curbtick_probe.hardware import Board
from curbtick_probe.link.access import Denied
from curbtick_probe.store.clock import Clock
from curbtick_probe.store.keys import Keys, KeysFull
from curbtick_probe.store.log import Log
from curbtick_probe.store.settings.calibration import Calibration
from curbtick_probe.store.settings.limits import Limits
from curbtick_probe.store.settings.rounds import Rounds
from curbtick_probe.store.settings.setting import Refused, Revised

OLDEST_VERSION = 1
_ANCHOR_AGE_MAX_MS = 60000


class Identity:
    """What the greeting says of the probe.

    board: gives unique_id and battery_mv(); capabilities: words of messages.CAPABILITIES.
    """

    def __init__(
        self, board: Board, capabilities: Words = messages.CAPABILITIES, firmware: str = VERSION
    ) -> None:
        self.unique_id = board.unique_id
        self.battery_mv = board.battery_mv
        self.capabilities = names.mask_of(messages.CAPABILITIES, capabilities)
        self.firmware = firmware


class Probe:
    """Everything that the link serves.

    pairing: True while the probe was started with STEP held. `self_test_wanted` is set when a bench asks for
    one; the app runs it and clears it. `failed` is the mask (names.SELF_TESTS) of the last one.
    """

    def __init__(
        self,
        log: Log,
        limits: Limits,
        rounds: Rounds,
        clock: Clock,
        keys: Keys,
        calibration: Calibration,
        identity: Identity,
        pairing: bool = False,
    ) -> None:
        self.log = log
        self.limits = limits
        self.rounds = rounds
        self.clock = clock
        self.keys = keys
        self.calibration = calibration
        self.identity = identity
        self.pairing = pairing
        self.self_test_wanted = False
        self.failed = 0


class Service:
    """The requests, by number: `open_requests`, `signed_requests`, and `pair`.

    probe: a Probe; counters: a function giving the link's counters as a dict of the stats reply's fields; challenge: a
    function that takes the bench's nonce of a greeting and gives the probe's. A method gives its reply as (values,
    tail). Raises Denied, Refused, WireError.
    """

    def __init__(
        self, probe: Probe, counters: Callable[[], dict[str, int]], challenge: Callable[[bytes], bytes]
    ) -> None:
        self._probe = probe
        self._counters = counters
        self._challenge = challenge
        self._definition = b""
        self._noted_seq = 0
        self.open_requests = {
            messages.GREET: self._greet,
            messages.STATS: self._stats,
            messages.TICKS: self._ticks,
            messages.LIMITS_GET: self._limits_get,
            messages.ROUND_GET: self._round_get,
            messages.KEYS: self._keys,
            messages.CALIBRATION_GET: self._calibration_get,
        }
        self.signed_requests = {
            messages.ACKNOWLEDGE: self._acknowledge,
            messages.LIMITS_PUT: self._limits_put,
            messages.ROUND_PUT: self._round_put,
            messages.ANCHOR: self._anchor,
            messages.REVOKE: self._revoke,
            messages.SELF_TEST: self._self_test,
            messages.CALIBRATION_PUT: self._calibration_put,
        }

    def _event(self, word: str, value: int, extra: int = 0) -> int:
        return self._probe.log.event(names.EVENTS.index(word), value, extra)

    def _greet(self, values: Values) -> Reply:
        probe = self._probe
        log, identity = probe.log, probe.identity
        self._definition = self._definition or messages.definition()
        reply = {
            "oldest_version": OLDEST_VERSION,
            "newest_version": messages.PROTOCOL_VERSION,
            "definition": self._definition,
            "unique_id": identity.unique_id,
            "log_id": log.log_id,
            "probe_nonce": self._challenge(values["bench_nonce"]),
            "firmware": messages.text_field(identity.firmware, 12),
            "boot": probe.clock.boot,
            "ticks_ms": probe.clock.ticks_ms(),
            "capabilities": identity.capabilities,
            "first_seq": log.first_seq,
            "last_seq": log.last_seq,
            "acknowledged_seq": log.acknowledged,
            "limits_revision": probe.limits.revision,
            "calibration_revision": probe.calibration.revision,
            "round_id": probe.rounds.current["round_id"] if probe.rounds.current else 0,
            "battery_mv": identity.battery_mv(),
            "pairing": 1 if probe.pairing else 0,
        }
        return reply, b""

    def _stats(self, _values: Values) -> Reply:
        log = self._probe.log
        reply = self._counters()
        reply["records_dropped"] = log.dropped
        reply["log_free_bytes"] = log.free_bytes()
        reply["heap_free_bytes"] = gc.mem_free()
        return reply, b""

    def _ticks(self, _values: Values) -> Reply:
        clock = self._probe.clock
        return {"boot": clock.boot, "ticks_ms": clock.ticks_ms()}, b""

    def _limits_get(self, _values: Values) -> Reply:
        return {}, self._probe.limits.data

    def _round_get(self, _values: Values) -> Reply:
        if not self._probe.rounds.current:
            raise Denied("not_held", "round: none was sent to this probe")
        return {}, self._probe.rounds.data

    def _calibration_get(self, _values: Values) -> Reply:
        if not self._probe.calibration.current:
            raise Denied("not_held", "calibration: none was sent to this probe")
        return {}, self._probe.calibration.data

    def _keys(self, _values: Values) -> Reply:
        rows = self._probe.keys.rows()
        return {"count": len(rows)}, codec.pack_list(messages.KEY_ROW, rows)

    def _acknowledge(self, values: Values, _tail: bytes, key_id: int) -> Reply:
        log = self._probe.log
        last, before = values["last_seq"], log.acknowledged
        if last > log.last_seq:
            raise Denied("not_held", "last_seq: the log does not reach that far", log.last_seq)
        if last > before and not log.acknowledge(last, values["digest"], values["first_seq"]):
            raise Denied("digest_differs", "digest: is not that of the records here", before)
        # One that covers only the record of the acknowledgement before is not logged: pulling would never end.
        if last > before and not before + 1 == last == self._noted_seq:
            self._noted_seq = self._event("acknowledged", last, key_id)
        return {"acknowledged_seq": log.acknowledged}, b""

    def _limits_put(self, _values: Values, tail: bytes, key_id: int) -> Reply:
        return self._revise(self._probe.limits, "limits_changed", tail, key_id)

    def _calibration_put(self, _values: Values, tail: bytes, key_id: int) -> Reply:
        return self._revise(self._probe.calibration, "calibration_changed", tail, key_id)

    def _revise(self, setting: Revised, event: str, data: bytes, key_id: int) -> Reply:
        before = setting.data
        setting.put(data)
        if setting.data != before:
            self._event(event, setting.revision, key_id)
        return {"revision": setting.revision}, b""

    def _round_put(self, _values: Values, tail: bytes, key_id: int) -> Reply:
        rounds = self._probe.rounds
        before = rounds.data
        rounds.put(tail)
        if rounds.data != before:
            self._event("round_received", rounds.current["round_id"], key_id)
        return {"round_id": rounds.current["round_id"]}, b""

    def _anchor(self, values: Values, _tail: bytes, _key_id: int) -> Reply:
        """Move the bench's pair of time and ticks to now. The log keeps whole seconds: 500 ms more of uncertainty."""
        clock = self._probe.clock
        now_ms = clock.ticks_ms()
        elapsed_ms = now_ms - values["ticks_ms"]
        if values["boot"] != clock.boot or not 0 <= elapsed_ms <= _ANCHOR_AGE_MAX_MS:
            raise Denied("refused", "ticks_ms: is not from this start of the probe, or too old", now_ms)
        host_time_s = values["host_time_s"] + (values["host_time_ms"] + elapsed_ms + 500) // 1000
        clock.anchor(host_time_s, values["uncertainty_ms"] + 500)
        return {"boot": clock.boot, "ticks_ms": now_ms}, b""

    def _revoke(self, values: Values, _tail: bytes, key_id: int) -> Reply:
        revoked = values["revoked_key_id"]
        if not self._probe.keys.revoke(revoked):
            raise Denied("not_held", "revoked_key_id: is not paired with this probe", revoked)
        self._event("key_revoked", revoked, key_id)
        return {"revoked_key_id": revoked}, b""

    def _self_test(self, _values: Values, _tail: bytes, _key_id: int) -> Reply:
        self._probe.self_test_wanted = True
        return {}, b""

    def pair(self, values: Values) -> Reply:
        """Keep a bench's secret, which only somebody who held STEP at power-up allows."""
        if not self._probe.pairing:
            raise Denied("not_pairing", "pairing: hold STEP while switching the probe on")
        count = len(self._probe.keys.rows())
        try:
            key_id = self._probe.keys.add(values["secret"], values["name"])
        except KeysFull:
            raise Refused("keys", "all places are taken, revoke one first") from None
        if len(self._probe.keys.rows()) != count:
            self._event("paired", key_id)
        return {"key_id": key_id}, b""
