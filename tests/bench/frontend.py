"""The analogue front end: formulas against ngspice, tolerances, noise, overload and levels.

`python -m tests.bench.frontend --json`; with `--pictures` it also writes the pictures of hardware_notes.
"""

import sys
from pathlib import Path
from typing import Any

from tests.bench import _common

import numpy as np  # isort: skip
from curbtick_wire import classes, settings  # isort: skip
from scipy import signal  # isort: skip

from curbtick.hardware import microphones  # isort: skip
from curbtick.hardware import converter, frontend, noise, rails, response  # isort: skip
from curbtick.hardware.microphones import FIRST, MICROPHONES  # isort: skip
from curbtick.hardware.values import OUTPUTS, nominal, unplugged  # isort: skip

from hardware_notes.collar import aim, felt  # isort: skip
from hardware_notes.frontend import levels, pictures, spice, tolerance  # isort: skip

CHECK_HZ = (5_000.0, 200_000.0)
REFERENCE_HZ = 48_000.0
RIPPLE_DB, EDGE_HZ = 0.1, 92_000.0

FIGURES_PAGE = Path(pictures.FOLDER).parent / "frontend_figures.md"

Figures = list[dict[str, Any]]


def _at_most(name: str, value: float, bound: float) -> dict[str, Any]:
    return _common.figure(name, float(f"{value:.4g}"), f"<= {bound}", value <= bound)


def _at_least(name: str, value: float, bound: float) -> dict[str, Any]:
    return _common.figure(name, float(f"{value:.4g}"), f">= {bound}", value >= bound)


def _between(name: str, value: float, low: float, high: float) -> dict[str, Any]:
    return _common.figure(name, float(f"{value:.4g}"), f"{low} to {high}", low <= value <= high)


def response_gap_db(values: dict[str, float]) -> float:
    """The largest difference between formula and ngspice over the check band, any output."""
    frequency_hz, simulated = spice.responses(values, *CHECK_HZ)
    computed = response.responses(values, frequency_hz)
    return max(
        float(np.abs(response.decibels(computed[pin]) - response.decibels(simulated[pin])).max())
        for pin in OUTPUTS
    )


def noise_gap_db(values: dict[str, float]) -> float:
    """The largest difference between formula and ngspice of the high output's own noise."""
    frequency_hz, density = spice.noise(values, "high", 10_000.0, 125_000.0)
    computed = noise.high_density(values, frequency_hz)
    return float(np.abs(10.0 * np.log10(computed / density**2)).max())


def agreement(count: int, seed: int) -> Figures:
    drawn = max(response_gap_db(values) for values in tolerance.draw(count, seed))
    nominals = [nominal(microphone) for microphone in MICROPHONES]
    return [
        _at_most("response_gap_db", max(map(response_gap_db, nominals)), 0.2),
        _at_most(f"response_gap_of_{count}_draws_db", drawn, 0.2),
        _at_most("noise_gap_db", max(map(noise_gap_db, nominals)), 0.2),
        _at_most("noise_gap_unplugged_db", max(noise_gap_db(unplugged(values)) for values in nominals), 0.2),
    ]


def shape() -> Figures:
    """The filter against scipy's ideal Chebyshev, flatness where sensors are, and what aliases."""
    frequency_hz = np.linspace(30_000.0, 200_000.0, 1701)
    values = {**nominal(), "GBW": 1e12}
    gain = response.decibels(response.responses(values, frequency_hz)["padded"])
    poles = signal.cheby1(4, RIPPLE_DB, 2.0 * np.pi * EDGE_HZ, analog=True)
    ideal = response.decibels(signal.freqs(*poles, worN=2.0 * np.pi * frequency_hz)[1])
    passband = frequency_hz <= 80_000.0
    offset = gain[passband] - ideal[passband]
    real = response.responses(nominal(), frequency_hz)
    low = response.decibels(real["low"])
    sensors = frequency_hz <= 74_500.0
    folded = (frequency_hz >= 170_000.0) & (frequency_hz <= 220_000.0)
    return [
        _at_most("passband_from_chebyshev_db", float(np.ptp(offset)) / 2.0, 0.3),
        _at_most("flatness_30_to_74_khz_db", float(np.ptp(low[sensors])), 0.5),
        _at_least("alias_rejection_170_to_200_khz_db", float(low[0] - low[folded].max()), 18.0),
    ]


def tolerances(count: int, seed: int) -> Figures:
    draws = tolerance.spread(count, seed)
    spread = {
        "low_gain": float(np.percentile(np.abs(draws.low_db), 95)),
        "high_over_low": float(np.percentile(np.abs(draws.high_over_low_db), 95)),
        "padded_over_low": float(np.percentile(np.abs(draws.padded_over_low_db), 95)),
    }
    return [_at_most(f"{name}_95_percent_db", value, 1.0) for name, value in spread.items()]


def level_figures() -> Figures:
    """The middle healthy sensor of each class, collar on; what fills each input; the loudest one's margin."""
    figures = [
        _between(f"healthy_middle_{hz / 1000:.0f}_khz_dbfs", levels.healthy_dbfs(hz, share=0.5), -17.0, -4.0)
        for hz in microphones.CLASSES_HZ
    ]
    loudest = (
        max(levels.at_microphone_db_spl(hz) for hz in microphones.CLASSES_HZ) + levels.above_weakest_db()
    )
    attenuator = float(felt.attenuation_db(np.array([REFERENCE_HZ]), plug_m=levels.plug_m())[0])
    front_end = levels.nominal()
    full = {pin: front_end.full_scale_db_spl(pin, REFERENCE_HZ) for pin in OUTPUTS}
    steps = {pin: front_end.step_db(pin) for pin in ("padded", "high")}
    return [
        *figures,
        _between("collar_pressure_db_spl", aim.pressed_level_db_spl(), 129.0, 132.0),
        _between("attenuator_48_khz_db", attenuator, 27.0, 32.0),
        _at_least("microphone_overload_margin_of_the_loudest_db", FIRST.overload_db.nominal - loudest, 6.0),
        _between("padded_step_db", steps["padded"], -12.5, -11.5),
        _between("high_step_db", steps["high"], 39.5, 40.5),
        _between("high_full_scale_collar_off_db_spl", full["high"], 70.0, 90.0),
        _at_most(
            "rumble_100_db_spl_500_hz_dbfs",
            max(front_end.dbfs(100.0, pin, 500.0) for pin in OUTPUTS),
            -20.0,
        ),
    ]


def supplies(seed: int) -> Figures:
    """Where inputs rest and where they clip, in codes; what the supplies' tolerances and a ripple do to it."""
    generator = np.random.default_rng(seed)
    drawn = [frontend.drawn(generator) for _ in range(400)]
    rests = [probe.rest_code(output) for probe in drawn for output in OUTPUTS]
    clear = min(rails.clear_of_steps_codes(chip) for chip in converter.STEPS_CODES)
    return [
        _at_least("bias_clear_of_known_steps_codes", clear, 3.0 * converter.noise_codes("RP2040")),
        _at_most("drawn_bias_from_mid_scale_codes", max(abs(code - 2048.0) for code in rests), 100.0),
        _at_least("clip_level_of_any_input_dbfs", min(probe.clip_dbfs("high") for probe in drawn), -1.5),
        _at_most("highest_code_of_any_input", max(probe.clip_codes()[1] for probe in drawn), 4094.0),
        _at_most("ripple_20_mv_21_khz_codes", rails.ripple_codes(20.0, 21_000.0), 1.0),
    ]


def floors() -> Figures:
    """The floor with and without a microphone, against the factory limit that tells them apart."""
    limit_dbfs = settings.FACTORY_SET["high_floor_min_cdb"] / 100.0
    dead_dbfs = classes.LEVELS["dead_cdb"] / 100.0
    live, open_input = levels.floor_dbfs("RP2040"), levels.floor_dbfs("RP2040", microphone=False)
    low_floor = noise.adc_dbfs(converter.EFFECTIVE_BITS["RP2040"])
    floor_spl = live + levels.nominal().full_scale_db_spl("high", REFERENCE_HZ)
    return [
        _at_least("live_floor_over_limit_db", live - limit_dbfs, 3.0),
        _at_least("limit_over_open_input_db", limit_dbfs - open_input, 3.0),
        _at_least("live_over_open_input_db", live - open_input, 10.0),
        _at_least("dead_limit_over_low_noise_db", dead_dbfs - low_floor, 15.0),
        _at_most("high_floor_collar_off_db_spl", floor_spl, 45.0),
    ]


def overload() -> Figures:
    """A burst 6 dB over the loudest healthy one: the low output clips and recovers, the padded one does not clip."""
    loudest = levels.at_microphone_db_spl(REFERENCE_HZ) + levels.above_weakest_db()
    peak_v = levels.peak_v(loudest + 6.0, REFERENCE_HZ)
    length_s = 1e-3
    run = spice.burst(nominal(), peak_v, REFERENCE_HZ, length_s, 3e-3)
    settled = (run.time_s > 0.5e-3) & (run.time_s < length_s)
    expected_v = peak_v * 10.0 ** (levels.nominal().gain_db("padded", REFERENCE_HZ) / 20.0)
    padded_db = 20.0 * np.log10(np.abs(run.swing("padded")[settled]).max() / expected_v)
    given = rails.rails()
    highest_v = max(float(volts.max()) for volts in run.pins.values())
    lowest_v = min(float(volts.min()) for volts in run.pins.values())
    ends = (given.code(float(run.pins["low"].min())), given.code(float(run.pins["low"].max())))
    off_codes = max(abs(end - swing) for end, swing in zip(ends, given.swing_codes, strict=True))
    last = {
        pin: float(run.time_s[np.abs(run.swing(pin)) > 0.01 * given.full_scale_peak_v].max() - length_s) * 1e6
        for pin in OUTPUTS
    }
    return [
        _at_most("padded_error_6_db_over_loudest_db", abs(float(padded_db)), 0.3),
        _at_most("highest_pin_v", highest_v, given.rail_v + 0.3),
        _at_least("lowest_pin_v", lowest_v, -0.3),
        _at_most("clipped_low_input_from_table_codes", off_codes, 8.0),
        _at_most("recovery_low_us", last["low"], 150.0),
        _at_most("recovery_high_us", last["high"], 1000.0),
    ]


def collar() -> Figures:
    worst = min(aim.neighbour_db(hz)["total"] for hz in microphones.CLASSES_HZ)
    ripple = max(aim.ripple_db(aim.echo_db(hz)) for hz in microphones.CLASSES_HZ)
    return [
        _at_least("neighbour_shading_db", worst, 35.0),
        _at_most("collar_echo_ripple_db", ripple, 1.0),
    ]


def figures_page(figures: Figures, seed: int) -> str:
    """Every figure beside its bound, as a page of the notes."""
    rows = [
        f"| {entry['name'].replace('_', ' ')} | {entry['value']} | {entry['bound']} |" for entry in figures
    ]
    head = (
        "# The front end's figures\n\nWritten by `python -m tests.bench.frontend --pictures` with seed "
        f"{seed}; the name ends in the unit.\n\n| figure | value | bound |\n|---|---|---|\n"
    )
    return head + "\n".join(rows) + "\n"


def main() -> None:
    asked = _common.arguments(
        __doc__ or "",
        ("--pictures", {"action": "store_true", "help": "write the pictures of hardware_notes"}),
    )
    if spice.find() is None:
        sys.exit(spice.NGSPICE.how)
    figures = [
        *agreement(4 if asked.short else 20, asked.seed),
        *shape(),
        *tolerances(500 if asked.short else 4000, asked.seed),
        *level_figures(),
        *supplies(asked.seed),
        *floors(),
        *overload(),
        *collar(),
    ]
    if asked.pictures:
        pictures.write_all(Path(pictures.FOLDER), asked.seed)
        spice.record()
        FIGURES_PAGE.write_text(figures_page(figures, asked.seed))
    if not asked.json:
        for entry in figures:
            print(
                f"{entry['name']:40} {entry['value']:10} {entry['bound']:>16} {'ok' if entry['holds'] else 'MISSED'}"
            )
    _common.report(figures, asked)


if __name__ == "__main__":
    main()
