"""How much of what the probe sends is lost on the line, and the slice size that carries most then."""

import math

# Each is half of the one before, so that slices held fit together whatever size they were asked for in.
SLICE_SIZES = (1024, 512, 256, 128, 64)
# Frame head, index, CRC, stuffing and delimiter of a slice, in bytes.
_OVERHEAD = 14
_LOST_MAX = 0.98
# A line is taken for clean as if this many slices had come through: one lost slice is no bad line yet.
_BELIEF = 24


class LineQuality:
    """Slices sent and lost, older rounds fading by half each round; damage_per_bit: the rate that explains it."""

    def __init__(self) -> None:
        self._sent = self._lost = 0.0
        self.damage_per_bit = 0.0

    def note(self, sent: int, lost: int, size: int) -> None:
        """Add a round: slices sent and lost, of size bytes each.

        A slice is lost when any of its bits is damaged: share lost = 1 - exp(-bits * damage_per_bit).
        """
        self._sent, self._lost = self._sent / 2 + sent, self._lost / 2 + lost
        share = min(self._lost / (self._sent + _BELIEF), _LOST_MAX)
        self.damage_per_bit = -math.log1p(-share) / (8 * (size + _OVERHEAD))

    def best_size(self) -> int:
        """The size of SLICE_SIZES with the highest expected share of payload on the line."""
        return max(SLICE_SIZES, key=self._share)

    def _share(self, size: int) -> float:
        whole = size + _OVERHEAD
        return size / whole * math.exp(-8 * whole * self.damage_per_bit)
