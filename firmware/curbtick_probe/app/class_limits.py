"""Which limits judge a reading: those of the bumper's class, or of any class where none is named."""

from curbtick_wire import classes
from curbtick_wire._typing import Values

from curbtick_probe.store.settings.limits import Limits

# Wide enough that no frequency the front end hears is judged.
_ANY_CENTRE_HZ = 55_000
_ANY_WINDOW_HZ = 60_000

# Of these the lowest value of all classes judges, of the others the highest.
_LOWEST = ("interval_min_ms", "ringdown_min_us", "missing_permille")


def limits_for(limits: Limits, class_khz: int) -> Values:
    """Return the limits of a class as a dict (settings.LIMIT_CLASS).

    limits: limits.Limits. A class that the set in force lacks is judged by the factory's; class 0, where no custom
    class is set, by `any_class`.
    """
    found = limits.for_class(class_khz)
    if found:
        return found
    for one in classes.factory_classes():
        if one["class_khz"] == class_khz:
            return one
    return any_class(limits.current["classes"])


def any_class(rows: list[Values]) -> Values:
    """Return limits under which every class's sensor is judged, by the highest levels of all, but no frequency."""
    merged = {}
    for name in rows[0]:
        of_all = [row[name] for row in rows]
        merged[name] = min(of_all) if name in _LOWEST else max(of_all)
    merged["class_khz"] = classes.CUSTOM
    merged["centre_hz"] = _ANY_CENTRE_HZ
    merged["window_hz"] = _ANY_WINDOW_HZ
    return merged
