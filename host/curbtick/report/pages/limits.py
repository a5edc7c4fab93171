"""The page of every limit set."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from curbtick.dates import when
from curbtick.limits import sets
from curbtick.limits.sets import LimitSet
from curbtick.report.pages.frame import Frame
from curbtick.report.views import site_map


@dataclass
class Origin:
    """Where a limit set comes from.

    words: as it was stored. made_ms: when it was stored, 0 for never. probes: names of those that it was sent to.
    """

    words: str = "factory set"
    made_ms: int = 0
    probes: list[str] = field(default_factory=list)

    @property
    def about(self) -> str:
        """All of it as a phrase."""
        date = f", {when(self.made_ms)}" if self.made_ms else ""
        sent = "; sent to " + ", ".join(self.probes) if self.probes else ""
        return self.words + date + sent


def limits_page(frame: Frame, origins: Mapping[int, Origin]) -> str:
    """Every limit set, newest first, with what each changed. origins: by revision."""
    revisions = sorted(frame.limit_sets, reverse=True)
    shown = []
    for older, revision in zip([*revisions[1:], None], revisions, strict=True):
        limit_set = frame.limit_sets[revision]
        changes = [] if older is None else sets.differences(frame.limit_sets[older], limit_set)
        shown.append(
            {
                "revision": revision,
                "about": origins.get(revision, Origin()).about,
                "classes": limit_set["classes"],
                "words": _set_words(limit_set),
                "changes": [difference_words(change) for change in changes],
            }
        )
    return frame.render(site_map.LIMITS.file, (), sets=shown)


def _set_words(limit_set: LimitSet) -> str:
    parts = (
        f"Noise at most {limit_set['noise_max_cdb'] / 100:.1f} dBFS",
        f"battery at least {limit_set['battery_min_mv']} mV",
        f"WEAK when {limit_set['below_siblings_cdb'] / 100:.1f} dB below the others on its bumper",
        f"seal leak within {limit_set['seal_leak_cdb'] / 100:.1f} dB of the free reference",
        f"hiss from {limit_set['hiss_rise_cdb'] / 100:.1f} dB above the background",
    )
    return "; ".join(parts) + "."


def difference_words(change: sets.Difference) -> str:
    """One changed value as a phrase."""
    where = "" if change.class_khz is None else f"class {change.class_khz or 'custom'}: "
    return f"{where}{change.field} {change.before} -> {change.after}"
