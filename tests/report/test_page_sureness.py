"""How sure yards lost are: one rule, its edges, and what it says of chances."""

import pytest
from scipy import stats

from pipeline.report.page.sureness import Z80, how_sure


@pytest.mark.parametrize(
    ("value", "low", "high", "flagged", "expected"),
    [
        (20.0, 10.0, 30.0, True, "sure"),
        (20.0, 9.9, 30.0, True, "likely"),
        (16.0, 5.0, 27.0, True, "likely"),
        (15.0, 5.0, 25.0, True, "can't tell"),  # just under 8 in 10: (15 - 10) / 10 is less than 0.512
        (15.2, 5.2, 25.2, True, "likely"),
        (20.0, 15.0, 25.0, False, "can't tell"),  # a loss that isn't flagged
        (4.0, -1.0, 10.0, False, "sure"),
        (4.0, -1.0, 10.1, False, "likely"),
        (7.0, 1.0, 13.0, False, "can't tell"),
        (-5.0, -9.0, -1.0, False, "sure"),
        (10.0, 8.0, 12.0, True, "can't tell"),
        (20.0, None, None, True, "can't tell"),
        (None, None, None, False, "can't tell"),
    ],
)
def test_the_rule(value, low, high, flagged, expected):
    assert how_sure(value, low, high, 10.0, flagged=flagged) == expected


def test_likely_begins_at_8_chances_in_10():
    assert stats.norm.cdf(Z80) == pytest.approx(0.8)
    deviation = 6.0
    for lost in (14.0, 15.0, 15.1, 16.0, 19.0):
        ends = stats.norm.interval(0.9, lost, deviation)
        beyond = stats.norm.sf(10.0, lost, deviation)
        expected = "sure" if beyond >= 0.95 else "likely" if beyond >= 0.8 else "can't tell"
        assert how_sure(lost, *ends, 10.0, flagged=True) == expected
