"""What a bench sends whole, judged before it counts, and kept in two slots: a limit set, a round, a calibration."""

from curbtick_wire._typing import Callable, Values
from curbtick_wire.errors import WireError

from curbtick_probe.store.slots import Slots


class Refused(Exception):
    """A limit set, a round or a calibration that is not taken. field: the field at fault; why: plain words."""

    def __init__(self, field: str, why: str) -> None:
        super().__init__(field + ": " + why)
        self.field = field
        self.why = why


class Setting:
    """A setting under root.

    name: of its slots; unpack: its form on the wire to a dict; check: raises Refused where a dict makes no sense;
    factory: what counts before the first one came. `current`: the dict that counts; `refused`: how many were refused
    since start.
    """

    def __init__(
        self,
        root: str,
        name: str,
        unpack: Callable[[bytes], Values],
        check: Callable[[Values], None],
        factory: Values,
    ) -> None:
        self._unpack = unpack
        self._check = check
        self._slots = Slots(root, name, self._accepts)
        self.refused = 0
        self.current = self.parse(self._slots.newest) if self._slots.newest else factory

    def _accepts(self, data: bytes) -> bool:
        try:
            self.parse(data)
        except Refused:
            return False
        return True

    def parse(self, data: bytes) -> Values:
        """A setting's bytes as a dict, ranges and meaning checked. Raises Refused."""
        try:
            value = self._unpack(data)
        except WireError as error:
            raise Refused(error.field, error.why) from error
        self._check(value)
        return value

    @property
    def data(self) -> bytes:
        """The current setting as bytes, empty where there is none."""
        return self._slots.newest or b""

    def may_follow(self, value: Values, data: bytes) -> None:
        """Raise Refused where a setting that makes sense may not follow the current one."""

    def put(self, data: bytes) -> None:
        """Make a setting (bytes) the current one; durable on return. The same bytes again change nothing.

        Raises Refused, naming the field, and OSError where flash fails; the current one is then as it was.
        """
        data = bytes(data)
        try:
            value = self.parse(data)
            self.may_follow(value, data)
        except Refused:
            self.refused += 1
            raise
        if data != self.data:
            self._slots.put(data)
            self.current = value


class Revised(Setting):
    """A setting with a `revision`, which only a higher revision may follow."""

    @property
    def revision(self) -> int:
        """The revision in force, 0 where there is none."""
        revision: int = self.current["revision"] if self.current else 0
        return revision

    def may_follow(self, value: Values, data: bytes) -> None:
        """Raise Refused where a value's revision is not above that in force, unless it is the very value in force."""
        if value["revision"] > self.revision or data == self.data:
            return
        if value["revision"] == self.revision:
            raise Refused("revision", "stands for another one already in force")
        raise Refused("revision", "is older than revision " + str(self.revision) + " in force")
