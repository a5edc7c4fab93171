"""Kappa against the attribute example of the AIAG's Measurement Systems Analysis manual."""

import pytest
from curbtick.limits import study
from statsmodels.stats.inter_rater import cohens_kappa

# Cross tables of the 4th edition's example, 50 parts x 3 trials, appraisers A, B, C and the reference; counts as
# ((0,0), (0,1), (1,0), (1,1)). From memory; the printed kappas beside them.
TABLES = {
    "A and B": ((44, 6, 3, 97), 0.86),
    "B and C": ((42, 5, 9, 94), 0.79),
    "A and C": ((43, 7, 8, 92), 0.78),
    "A and reference": ((45, 5, 3, 97), 0.88),
    "B and reference": ((45, 2, 3, 100), 0.92),
    "C and reference": ((42, 9, 6, 93), 0.77),
}


def _pairs(counts: tuple[int, ...]) -> list[tuple[object, object]]:
    cells = ((0, 0), (0, 1), (1, 0), (1, 1))
    return [cell for cell, count in zip(cells, counts, strict=True) for _ in range(count)]


@pytest.mark.parametrize("name", TABLES)
def test_the_printed_kappas(name: str) -> None:
    counts, printed = TABLES[name]
    assert study.kappa(_pairs(counts)) == pytest.approx(printed, abs=0.005)


@pytest.mark.parametrize("name", TABLES)
def test_kappa_against_statsmodels(name: str) -> None:
    """statsmodels.stats.inter_rater.cohens_kappa on the same tables."""
    a, b, c, d = TABLES[name][0]
    assert study.kappa(_pairs((a, b, c, d))) == pytest.approx(cohens_kappa([[a, b], [c, d]]).kappa, rel=1e-12)


def test_kappa_of_perfect_and_of_no_agreement() -> None:
    """Cohen (1960): 1 for perfect agreement, 0 for what chance explains, undefined where only one word
    occurs.
    """
    assert study.kappa([(True, True), (False, False)]) == 1.0
    assert study.kappa([(a, b) for a in (0, 1) for b in (0, 1)]) == 0.0
    assert study.kappa([(True, True)] * 5) is None
    assert study.kappa([]) is None
