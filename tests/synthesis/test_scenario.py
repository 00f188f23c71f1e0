"""Strict reading of scenarios: what is wrong is named, with what would be right."""

import pytest

from beepwatch.errors import InputError
from beepwatch.synthesis import RHYTHMS, Rhythm, decode, plan

BEEP = "duration = 60\n[[alarms]]\npattern = 'beep'\nstart = 1\n"


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (
            "duration = 1\nsed = 2",
            r"no key 'sed'; did you mean 'seed'\? The keys are: duration, rate",
        ),
        (
            BEEP + "breath_a_minute = 3",
            r"\[\[alarms\]\] 1: .*; did you mean 'breaths_a_minute'",
        ),
        ("duration = 1\n[room]\nrt = 1", r"\[room\]: there is no key 'rt'; .*The keys are: t60, direct"),
        (
            "duration = 1\n[background]\nzz = 1",
            r"\[background\]: .* key 'zz'; The keys are: kind, file",
        ),
        ("duration = 1\n[[thumps]]\nstart = 0\nat = 1", r"\[\[thumps\]\] 1: there is no key 'at'"),
        ("duration = 1\n[[alarms]]\npattern = 'led'\nstart = 0", "there are lead-disconnect, backup-battery"),
        ("duration = 1\n[background]\nkind = 'pinc'", "there are white, pink"),
        ("seed = 1", "missing required field `duration`"),
        ("duration = 'long'", "duration: Expected `float`, got `str`"),
        ("duration = 0", "duration: Expected `float` > 0"),
        ("duration = nan", "duration = nan is no number"),
        (BEEP + "snr = inf", "snr = inf is no number"),
        ("duration = 1\nalarms = 3", "alarms: Expected `array`, got `int`"),
        ("duration = ", "not TOML"),
        (BEEP + "snr = 1\nlevel = -40", "say `snr` or `level`, not both"),
        (BEEP + "period = 2\nbreaths_a_minute = 9", "say `period` or `breaths_a_minute`, not both"),
        (BEEP + "tone = 7990\ndrift = 1", "a tone of 7990 Hz does not fit a rate of 16000 Hz"),
        (BEEP + "length = 0.1\nramp = 0.2", "a ramp of 0.2 s is longer than its beep"),
        (BEEP.replace("60", "1"), "starts at 1 s, after the end at 1 s"),
        ("duration = 1\n[[thumps]]\nstart = 2", "starts after the end"),
        ("duration = 1\n[background]\nkind = 'recording'", "`file` go together"),
        ("duration = 1\n[background]\nfile = 'a.wav'", "`file` go together"),
    ],
)
def test_a_fault_is_told_in_one_line(text: str, told: str) -> None:
    """The line names the file, the place and the keys or values there are."""
    with pytest.raises(InputError, match=told) as error:
        decode(text, "night.toml")
    assert str(error.value).startswith("night.toml: ")
    assert "\n" not in str(error.value)


def test_beeps_longer_than_their_period_are_refused() -> None:
    """The least period that would do is told."""
    with pytest.raises(InputError, match=r"a period of 0.4 s is too short .* \(at least 0.525 s\)"):
        plan(decode(BEEP + "period = 0.4"))


def test_whole_numbers_do_for_numbers() -> None:
    """`missed = 0` is a share and `missed = [2]` a list; `snr = 3` is 3.0."""
    scenario = decode(BEEP + "missed = 0\nsnr = 3")
    assert scenario.alarms[0].missed == 0
    assert scenario.alarms[0].snr == 3
    assert decode(BEEP + "missed = [2]").alarms[0].missed == (2,)


@pytest.mark.parametrize(
    ("rhythm", "low", "high"),
    [
        (RHYTHMS["medical-high"], (0.075, 0.05, 2.5), (0.2, 0.125, 15.0)),
        (RHYTHMS["medical-medium"], (0.125, 0.125, 2.5), (0.25, 0.25, 30.0)),
    ],
)
def test_medical_bursts_keep_the_quoted_bounds(rhythm: Rhythm, low: tuple[float, ...], high: tuple[float, ...]) -> None:
    """Pulse, pause and time between bursts: IEC 60601-1-8 tables 3 and 4, quoted."""
    rest = rhythm.period - rhythm.starts(rhythm.pulse)[-1] - rhythm.pulse
    for value, least, most in zip((rhythm.pulse, rhythm.gaps[0], rest), low, high, strict=True):
        assert least <= value <= most


def test_rhythm_of_the_high_priority_burst() -> None:
    """3 + 2, a pause of 0.35-1.30 s, 3 + 2; the third pause is two of the first and a pulse (quoted)."""
    gaps = RHYTHMS["medical-high"].gaps
    pulse = RHYTHMS["medical-high"].pulse
    assert len(gaps) == 9
    assert gaps[2] == gaps[7] == pytest.approx(2 * gaps[0] + pulse)
    assert 0.35 <= gaps[4] <= 1.30


def test_fire_and_carbon_monoxide_as_quoted() -> None:
    """Three of 0.5 s on and 0.5 off, cycle 4.0 s (ISO 8201); four of 0.1 s, then 5 s (NFPA 72): quoted."""
    fire, monoxide = RHYTHMS["fire"], RHYTHMS["carbon-monoxide"]
    assert (fire.pulse, fire.gaps, fire.period) == (0.5, (0.5, 0.5), 4.0)
    assert fire.starts(0.5) == [0.0, 1.0, 2.0]
    assert monoxide.gaps == (0.1, 0.1, 0.1)
    assert monoxide.period - (monoxide.starts(0.1)[-1] + 0.1) == pytest.approx(5.0)
