"""The kinds of value in the tables: a resistor, a capacitor, an amplifier's bandwidth, a figure with its range."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Resistor:
    """A resistance in ohm, its tolerance as a share (uniform bounds), what it does, and its maximum power in mW."""

    ohm: float
    tolerance_share: float
    what: str
    power_mw: float = 125.0
    kind = "resistor"

    @property
    def si(self) -> float:
        """The value in ohm."""
        return self.ohm

    @property
    def shown(self) -> str:
        """The value as a parts list prints it."""
        return f"{self.ohm / 1e3:g} kohm" if self.ohm >= 1e3 else f"{self.ohm:g} ohm"


@dataclass(frozen=True)
class Capacitor:
    """A capacitance in nF, its tolerance as a share (uniform bounds), its dielectric, and what it does."""

    nf: float
    tolerance_share: float
    dielectric: str
    what: str
    rated_v: float = 16.0
    kind = "capacitor"

    @property
    def si(self) -> float:
        """The value in farad."""
        return self.nf * 1e-9

    @property
    def shown(self) -> str:
        """The value as a parts list prints it."""
        if self.nf < 1.0:
            return f"{self.nf * 1e3:g} pF"
        return f"{self.nf / 1e3:g} uF" if self.nf >= 1e3 else f"{self.nf:g} nF"


@dataclass(frozen=True)
class Bandwidth:
    """The gain-bandwidth product of each amplifier in MHz, its tolerance as a share."""

    mhz: float
    tolerance_share: float
    what: str
    kind = "bandwidth"

    @property
    def si(self) -> float:
        """The value in hertz."""
        return self.mhz * 1e6

    @property
    def shown(self) -> str:
        """The value as a parts list prints it."""
        return f"{self.mhz:g} MHz"


Component = Resistor | Capacitor | Bandwidth


@dataclass(frozen=True)
class Figure:
    """A figure of a part: (nominal, least, most), and where it is read. The name that holds it states the unit."""

    span: tuple[float, float, float]
    source: str

    @property
    def nominal(self) -> float:
        """What to reckon with."""
        return self.span[0]

    @property
    def least(self) -> float:
        """The lower end of the range."""
        return self.span[1]

    @property
    def most(self) -> float:
        """The upper end of the range."""
        return self.span[2]


def figure(nominal: float, least: float, most: float, source: str) -> Figure:
    """Make a figure. Raises ValueError when the nominal value lies outside its own range."""
    if not least <= nominal <= most:
        raise ValueError(f"{nominal} does not lie between {least} and {most}: correct the figure ({source})")
    return Figure((nominal, least, most), source)
