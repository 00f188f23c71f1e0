"""The hearing margin and the ideal listener that it is measured beside."""

import numpy as np
import pytest
from scipy.stats import ncx2

from beepwatch.hearing import RATE
from beepwatch.hearing.margin import FAINTEST_SNR, ideal_recall, margin_db
from tests.hearing.scenes import add, background, beeps, hear, matched, spread


def test_the_margin_is_level_over_noise_less_the_faintest() -> None:
    """0 dB at the SNR at which 99 % are found; it falls with the level and with the noise, dB for dB."""
    assert margin_db(-60.0 + FAINTEST_SNR, -60.0) == pytest.approx(0)
    assert margin_db(-40.0, -60.0) == pytest.approx(20 - FAINTEST_SNR)
    assert margin_db(-43.0, -60.0) == pytest.approx(margin_db(-40.0, -57.0))


def test_beeps_at_a_margin_of_2_db_are_found() -> None:
    """Nearly all of 60 beeps of 1.2 s, seeds not used to measure it."""
    seconds, tones = spread(60, 1.2, FAINTEST_SNR + 2, 401)
    assert len(matched(beeps(hear(add(background(seconds, 401), tones))), tones)) >= 59


def test_beeps_at_a_margin_of_minus_7_db_are_often_missed() -> None:
    """So the margin is no empty promise in either direction: under two thirds of 60 are found."""
    seconds, tones = spread(60, 1.2, FAINTEST_SNR - 7, 402)
    assert len(matched(beeps(hear(add(background(seconds, 402), tones))), tones)) < 40


def test_the_ideal_listener_by_scipy_stats() -> None:
    """Marcum's Q by the noncentral chi-square, at 1 and 0.01 false beeps an hour."""
    for rate in (1.0, 0.01):
        snr = np.linspace(-35, 0, 36)
        rho = 10 ** (snr / 10) * 1.2 * RATE / 2
        limit = -2 * np.log(rate / (4600 * 3600))
        assert ideal_recall(snr, 1.2, rate) == pytest.approx(ncx2.sf(limit, 2, 2 * rho), abs=1e-9)


def test_the_ideal_listener_hears_99_percent_of_breath_long_beeps_at_24_6_db_below() -> None:
    """rho = 15.2 dB at one false beep an hour (worked by hand: 15.2 - 10 log10(1.2 x 8000) = -24.6 dB)."""
    assert float(ideal_recall(-24.62, 1.2)) == pytest.approx(0.99, abs=0.003)
    assert float(ideal_recall(-33.8, 10.0)) == pytest.approx(0.99, abs=0.01)


def test_the_ideal_listener_misses_no_loud_beep_and_hears_no_absent_one() -> None:
    """The ends of the curve; it rises with SNR and with length."""
    assert float(ideal_recall(20.0, 20.0)) == 1
    assert float(ideal_recall(-200.0, 1.2)) == pytest.approx(6e-8, rel=0.05)
    assert (np.diff(ideal_recall(np.arange(-40.0, -15.0), 1.2)) >= 0).all()
    assert float(ideal_recall(-27.0, 2.4)) > float(ideal_recall(-27.0, 1.2))


def test_we_are_not_better_than_ideal() -> None:
    """The limit measured lies above the ideal one, by less than 7 dB."""
    snr = np.arange(-30.0, -10.0, 0.01)
    ideal = float(snr[int(np.argmax(ideal_recall(snr, 1.2) >= 0.99))])
    assert ideal < FAINTEST_SNR < ideal + 7
