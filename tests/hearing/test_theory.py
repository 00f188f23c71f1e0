"""Published and derived figures of detection, and hearing's own constants, each by a second route.

Sources: Marcum's Q by scipy.stats.ncx2; Albersheim's equation (from memory; stated for 1e-7 <= Pfa <= 1e-3, one look
Pd 0.4-0.99); CA-CFAR loss from the closed form for exponential targets (from memory).
"""

from math import log, log10

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.stats import gamma, ncx2

from beepwatch.hearing.baseband import MARGIN, NOISE_SHARE, STEP, demodulate, weights
from beepwatch.hearing.floor import MIDDLE, NoiseFloor, band_level
from beepwatch.hearing.known import Known
from beepwatch.hearing.search import CHANCE, CLIP, NEAR_GAIN, Candidate, Search, thresholds
from beepwatch.hearing.spectrum import BINS, HOP, RATE
from beepwatch.hearing.verdict import EVIDENCE, TAUGHT_GAIN
from tests.hearing.scenes import background
from tests.hearing.spectra import normalised, power_rows


def albersheim_db(pd: float, pfa: float) -> float:
    """SNR for one look at a tone of unknown phase."""
    a, b = log(0.62 / pfa), log(pd / (1 - pd))
    return float((6.2 + 4.54 / 1.44**0.5) * log10(a + 0.12 * a * b + 1.7 * b))


def exact_db(pd: float, pfa: float) -> float:
    """The same by Marcum's Q."""
    rho = brentq(lambda r: ncx2.sf(-2 * log(pfa), 2, 2 * r) - pd, 1e-3, 1e4)
    return float(10 * log10(rho))


@pytest.mark.parametrize("pd", [0.4, 0.5, 0.9, 0.99])
@pytest.mark.parametrize("pfa", [1e-7, 1e-5, 1e-3])
def test_albersheim_meets_marcum_in_its_stated_range(pd: float, pfa: float) -> None:
    """Within 0.1 dB (one look)."""
    assert albersheim_db(pd, pfa) == pytest.approx(exact_db(pd, pfa), abs=0.1)


def test_albersheim_fails_outside_its_range() -> None:
    """At Pd 0.1 it reads 0.75 to 4.1 dB low: so the bench uses Marcum's Q itself."""
    errors = [exact_db(0.1, pfa) - albersheim_db(0.1, pfa) for pfa in (1e-7, 1e-5, 1e-3)]
    assert min(errors) > 0.7
    assert max(errors) < 4.2


def loss_db(cells: float, pd: float = 0.9, pfa: float = 1e-6) -> float:
    """CA-CFAR: SNR over that with the noise known, exponential target: Pd = (1 + T / (N (1 + S)))^-N."""
    threshold = cells * (pfa ** (-1 / cells) - 1)
    with_cells = threshold / (cells * (pd ** (-1 / cells) - 1)) - 1
    return 10 * log10(with_cells / (log(pfa) / log(pd) - 1))


@pytest.mark.parametrize(("cells", "expected"), [(16, 2.0), (32, 1.0), (64, 0.5)])
def test_ca_cfar_loss(cells: int, expected: float) -> None:
    """2.0, 1.0 and 0.5 dB at Pd 0.9, Pfa 1e-6."""
    assert loss_db(cells) == pytest.approx(expected, abs=0.05)


def test_ca_cfar_keeps_its_false_alarm_rate_in_simulation() -> None:
    """The threshold of the closed form is passed by noise as often as it says (Pfa 1e-3, 16 cells)."""
    rng = np.random.default_rng(1)
    threshold = 16 * (1e-3 ** (-1 / 16) - 1)
    cells, tested = rng.exponential(size=(400_000, 16)), rng.exponential(size=400_000)
    assert float(np.mean(tested > threshold * cells.mean(axis=1))) == pytest.approx(1e-3, rel=0.15)


def test_the_gain_of_one_frame_costs_under_a_db() -> None:
    """One frame's band gain errs as a mean of 32 cells or more does: its CFAR loss is 1 dB at most."""
    rows = power_rows(background(60, 2))
    level = band_level(rows / rows.mean(axis=0))
    inner = level[:, 1:-1]
    cells = float(inner.mean()) ** 2 / float(inner.var(axis=0).mean())
    assert cells > 30
    assert loss_db(cells) < 1.05


def test_the_bias_of_the_median() -> None:
    """The 17th smallest of 32 exponential variables has the mean MIDDLE, and the level of noise is then unbiased."""
    rng = np.random.default_rng(3)
    middle = np.partition(rng.exponential(size=(100_000, 32)), 16, axis=1)[:, 16]
    assert float(middle.mean()) == pytest.approx(MIDDLE, rel=0.003)
    rows = power_rows(background(60, 3))
    assert float(band_level(rows / rows.mean(axis=0)).mean()) == pytest.approx(1, abs=0.02)


@pytest.mark.parametrize("channels", [1, 2, 4])
@pytest.mark.parametrize("length", sorted(CHANCE))
def test_thresholds_are_passed_by_noise_as_often_as_stated(length: int, channels: int) -> None:
    """By scipy.stats, and by simulation with importance weights (exponential variables drawn larger than life)."""
    threshold = thresholds(channels)[length]
    n = length * channels
    assert gamma(n).sf(threshold * channels) == pytest.approx(CHANCE[length], rel=1e-6)
    rng = np.random.default_rng(length)
    scale = threshold / length
    total = rng.gamma(n, scale, size=200_000)
    weight = np.exp(n * log(scale) - total * (1 - 1 / scale))
    share = float(np.mean(weight * (total > threshold * channels)))
    assert share == pytest.approx(CHANCE[length], rel=0.03)


def candidates_in_noise(seconds: float, seed: int) -> tuple[list[Candidate], int]:
    """(all candidates of white noise whose mean power is known and whose gain is not, frames)."""
    rows = power_rows(background(seconds, seed))
    floor, search = NoiseFloor(rows), Search()
    flat = rows / rows.mean(axis=0) * floor.floor
    found = []
    for first in range(0, len(rows) - 32, 32):
        ratio, _ = normalised(floor, flat[first : first + 32])
        found += search.push(ratio, first, np.zeros(BINS, np.int64))
    return found, len(rows)


def test_candidates_in_white_noise_are_as_rare_as_the_thresholds_say() -> None:
    """Half an hour of noise, its level estimated: a fifth to five times as many as independent exact cells would give.

    Candidates within 128 frames and 3 bins are one event. Fewer, as only peaks that look like a line count; more, as
    frames overlap by half, sums slide, and the level of one frame errs by 15 %.
    """
    found, frames = candidates_in_noise(1800, 4)
    events: list[Candidate] = []
    for one in found:
        if not any(abs(one.bin - old.bin) <= 3 and one.frame - old.frame < 128 for old in events):
            events.append(one)
    cells = {length: BINS * frames / max(1, length // 4) for length in CHANCE}
    expected = sum(CHANCE[length] * cells[length] for length in CHANCE)
    assert expected / 5 < len(events) < expected * 5


def test_the_evidence_asked_for_allows_for_the_search() -> None:
    """One false beep an hour in each Hz and second of 4.6 kHz needs 16.6 nats; a known tone of 1.5 kHz saves 3.9."""
    assert log(4600 * 3600) == pytest.approx(16.6, abs=0.05)
    assert EVIDENCE > 16.6
    assert log(4600 / (0.06 * 1500)) == pytest.approx(3.9, abs=0.05)
    assert 3.9 <= TAUGHT_GAIN <= 1.6 * 3.9  # measured: the chance falls by e each 1.6 nats


def test_as_many_candidates_come_of_a_known_tone_as_of_all_the_rest() -> None:
    """NEAR_GAIN times the chance in the bins within 3 % of 2.5 kHz: within a fifth of those of the whole band."""
    first, stop = Known(2500.0).bins
    assert NEAR_GAIN * (stop - first) == pytest.approx(BINS, rel=0.2)


def test_coherent_energy_of_noise_is_one_nat() -> None:
    """|sum z w|^2 / sum w over 0.4 s of white noise, its variance known, is exponential with mean 1, on any tone.

    The likelihood of the fit and EVIDENCE count in these units: an error of 20 % made ten times as many false beeps.
    """
    sound = np.random.default_rng(6).standard_normal((1, 400 * 100 * STEP + 2 * MARGIN * STEP)).astype(np.float32)
    for hertz in (700.0, 2500.0, 4700.0):
        z = demodulate(sound, 100, hertz)[0].reshape(400, 100)
        weight = weights(np.ones((1, 40_000)))[0].reshape(400, 100)
        energy = np.abs((z * weight).sum(axis=1)) ** 2 / weight.sum(axis=1)
        assert float(energy.mean()) == pytest.approx(1, abs=0.15)
    assert abs(NOISE_SHARE * STEP - 1) < 0.02


def test_a_clipped_frame_passes_no_long_sum_alone() -> None:
    """One loud frame, clipped, and noise of mean 1 in the others stays under each threshold over 4 frames and more."""
    for length, threshold in thresholds(1).items():
        assert length == 2 or float(CLIP) + (length - 1) < threshold + 0.5 * length


def test_frames_overlap_by_half_so_sums_are_wider_by_little() -> None:
    """Power in neighbouring frames of noise correlates by (1/6)^2 (Hann, half overlap, theory)."""
    rows = power_rows(background(120, 5)).astype(np.float64)
    rows /= rows.mean(axis=0)
    correlation = float(np.mean((rows[1:] - 1) * (rows[:-1] - 1)) / np.mean((rows - 1) ** 2))
    assert correlation == pytest.approx(1 / 36, abs=0.005)
    assert len(rows) == (120 * RATE - 1024) // HOP
