"""Evidence: Wald's bounds against simulation, what the figures are worth, and the profiles as data."""

import math
import random
from collections.abc import Iterator
from pathlib import Path

import pytest

from beepwatch.errors import InputError
from beepwatch.events import Alarm, Character
from beepwatch.patterns import Matcher, evidence, explain
from beepwatch.patterns.profiles import Doubt, load, packaged, read
from tests.patterns.simulated import breaths

TEST_PROFILE = """
kind = "bursts"
name = "doorbell"
priority = "low"
calls = "household"
pulse = [0.2, 0.4]
gaps = [[0.1, 0.3]]
pauses = [[2.0, 4.0]]
slack = 0.02
bursts = 2
skipped = 0
[silence]
periods = 3.0
seconds = 20.0
[tone]
lowest = 400.0
highest = 5000.0
[tests]
busy = 10.0
quiet = 10.0
known = 1.0
"""


def walk(lot: random.Random, mean: float, steps: int) -> Iterator[float]:
    """The running log likelihood ratio of normal values of sd 1 and mean 1 (alarm) against mean 0, as `mean` has it."""
    total = 0.0
    for _ in range(steps):
        total += lot.gauss(mean, 1.0) - 0.5
        yield total


def reached(lot: random.Random, mean: float, bound: float, runs: int) -> float:
    """Share of runs that ever reach the bound within 200 steps."""
    return sum(any(total >= bound for total in walk(lot, mean, 200)) for _ in range(runs)) / runs


@pytest.mark.parametrize(("tests", "nights"), [(2.0, 10.0), (1.0, 100.0)])
def test_walds_bound_holds_in_simulation(tests: float, nights: float) -> None:
    """Wald 1945: with no alarm the ratio ever reaches ln((1-b)/a) in less than a share a of tests, here a = 1/(tests x
    nights); with one it is reached in nearly all. 4000 runs, seeded; the bound is a bound, so only one side is exact.
    """
    lot = random.Random(4)
    a = 1.0 / (tests * nights)
    bound = evidence.bound(tests, nights)
    assert bound == pytest.approx(math.log(0.95 / a))
    false = reached(lot, 0.0, bound, 4000)
    assert false <= a / 0.95 + 2 * math.sqrt(a / 4000)
    assert false >= 0.2 * a  # the steps overshoot: it is not far below either
    assert reached(lot, 1.0, bound, 500) >= 0.95


def test_budget_of_the_issue_sets_the_bounds() -> None:
    """One false wake in 30 nights untaught, in 1000 with a known tone: more nights ask for more evidence."""
    assert (evidence.NIGHTS, evidence.NIGHTS_KNOWN) == (30.0, 1000.0)
    assert evidence.bound(100, 1000) - evidence.bound(100, 30) == pytest.approx(math.log(1000 / 30))


def test_a_clean_buzzer_is_worth_most_and_a_voice_least() -> None:
    """Each figure moves the evidence the right way, within its bounds."""
    clean = evidence.sounder(Character())
    assert clean == evidence.CHARACTER[1]
    for worse in (
        Character(company=-15.0),
        Character(neighbours=5.0),
        Character(wander=3.0),
        Character(flatness=30.0),
        Character(purity=0.3),
        Character(before=1.5),
        Character(after=1.5),
        Character(valley=25.0),
    ):
        assert evidence.CHARACTER[0] <= evidence.sounder(worse) < clean


def test_steady_periods_are_evidence_and_never_a_condition() -> None:
    """A machine's periods speak for an alarm; a breath's wander costs a little; one stray costs a bounded amount."""
    steady, wandering = [5.0] * 6, [5.0, 5.6, 4.5, 5.2, 4.7, 5.4]
    stray = [5.0] * 5 + [9.0]
    assert evidence.rhythm(steady) > evidence.rhythm(wandering) > 0.0
    assert evidence.rhythm(stray) > evidence.rhythm(steady) - 6.0
    assert evidence.rhythm([5.0]) == 0.0


@pytest.mark.parametrize(
    "character",
    [Character(spread=0.006), Character(neighbours=4.0), Character(company=-10.0), Character(before=1.0)],
)
def test_a_long_tone_with_one_fault_is_not_enough_at_once(character: Character) -> None:
    """Each of the questions asked of a long tone can hold it back until it comes again."""
    (backup,) = (profile for profile in packaged() if profile.name == "backup-battery")
    bound = evidence.bound(backup.tests.quiet, evidence.NIGHTS)
    assert evidence.long_tone(Character(), 0.0, drone=False) >= bound
    assert evidence.long_tone(character, 0.0, drone=False) < bound
    assert evidence.long_tone(Character(), -25.0, drone=False) < bound
    assert evidence.long_tone(Character(), 0.0, drone=True) < bound


def test_a_long_tone_that_fades_is_none_unless_it_moves() -> None:
    """What is struck dies away on one pitch; a tone that moves is louder and weaker with the room."""
    whole = evidence.long_tone(Character(), 0.0, drone=False)
    assert evidence.long_tone(Character(flatness=9.0), 0.0, drone=False) == whole - 4.0
    assert evidence.long_tone(Character(flatness=9.0, moved=2.0), 0.0, drone=False) == whole - 4.0
    assert evidence.long_tone(Character(flatness=9.0, moved=8.0), 0.0, drone=False) == whole + evidence.MOVING
    assert evidence.under_way(Character(flatness=9.0, moved=8.0), 0.3) == evidence.UNSURE[1]  # its end is waited for
    assert evidence.under_way(Character(flatness=9.0), 0.3) == 0.0  # that it dies counts already


def test_confidence_rises_with_evidence_and_is_a_probability() -> None:
    """Far below the bound it is near none, far above near one, on a known tone sooner."""
    excesses = (-1e9, -8.0, -1.0, 0.0, 1.0, 1e9)
    unknown, known = ([evidence.confidence(one, tone) for one in excesses] for tone in (False, True))
    for values in (unknown, known):
        assert values == sorted(values)
        assert 0.0 <= values[0] < 0.05
        assert 0.9 < values[-1] <= 1.0
    assert all(one >= other for one, other in zip(known, unknown, strict=True))


def test_doubts_cost_between_their_ends() -> None:
    """Nothing up to `free`, all from `full` on, straight between, whichever end is the greater."""
    rising, falling = Doubt("duty", 0.4, 0.5, 8.0), Doubt("tone", 1700.0, 1000.0, 3.0)
    assert [rising.price(duty) for duty in (0.3, 0.45, 0.6)] == pytest.approx([0.0, 4.0, 8.0])
    assert [falling.price(tone) for tone in (2000.0, 1350.0, 800.0)] == pytest.approx([0.0, 1.5, 3.0])


def test_the_packaged_profiles_are_the_patterns_that_are_promised() -> None:
    """Eight patterns with the priorities of IEC 60601-1-8."""
    assert {profile.name: profile.priority for profile in packaged()} == {
        "lead-disconnect": "high",
        "battery-critical": "high",
        "backup-battery": "medium",
        "fire": "high",
        "carbon-monoxide": "high",
        "medical-high": "high",
        "medical-medium": "medium",
        "unknown": "low",
    }


def test_every_profile_says_where_its_numbers_come_from() -> None:
    """Each file names a source, or says that its numbers are judgement."""
    for path in (Path(evidence.__file__).parent / "profiles").glob("*.toml"):
        words = path.read_text("utf-8")
        assert any(source in words for source in ("IEC", "ISO", "NFPA", "device's own description", "judgement")), path


def test_a_pattern_is_one_file(tmp_path: Path) -> None:
    """Adding a pattern means adding one TOML file."""
    (tmp_path / "doorbell.toml").write_text(TEST_PROFILE, "utf-8")
    (profile,) = load(tmp_path)
    assert profile.name == "doorbell"
    Matcher(profiles=[*packaged(), profile])


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("slack", "slak", "slak"),
        ('"bursts"', '"burst"', "burst"),
        ("[0.2, 0.4]", "0.2", "pulse"),
        ("low", "urgent", "priority"),
        ("[silence]", "[silence", "doorbell.toml"),
    ],
)
def test_a_bad_profile_is_one_clear_error(old: str, new: str, message: str) -> None:
    """A misspelt key, an unknown kind, a wrong type: InputError that names the file and the place."""
    with pytest.raises(InputError, match=r"doorbell\.toml is not a profile") as caught:
        read(TEST_PROFILE.replace(old, new, 1), "doorbell.toml")
    assert message in str(caught.value)


def test_two_profiles_of_one_name_are_refused(tmp_path: Path) -> None:
    """Names are what alarms are told apart by."""
    for name in ("one.toml", "two.toml"):
        (tmp_path / name).write_text(TEST_PROFILE, "utf-8")
    with pytest.raises(InputError, match="share a name"):
        load(tmp_path)


def test_why_reads_as_a_nurse_would_write_it() -> None:
    """Figures with the digits that matter."""
    assert explain.repeated(7, 1.2, 5.0, [2730.0], rate=True) == (
        "7 beeps of 1.2 s, one every 5.0 s (12 a minute), all at 2.73 kHz"
    )
    assert explain.repeated(1, 20.04, None, [2730.0]) == "1 beep of 20.0 s at 2.73 kHz"
    assert explain.repeated(2, 10.0, 3600.0, [950.0]) == "2 beeps of 10.0 s, one every 60 min, all at 950 Hz"
    assert explain.grouped(3, 4, 0.1, 5.7, [520.0]) == (
        "3 groups of 4 pulses of 0.10 s, one group every 5.7 s, all at 520 Hz"
    )


def test_why_names_the_harmonics_that_were_heard() -> None:
    """In a room one sounder is heard at several: `all at` would be untrue."""
    assert explain.grouped(3, 3, 0.2, 8.0, [550.0, 1100.0, 1650.0]) == (
        "3 groups of 3 pulses of 0.20 s, one group every 8.0 s, "
        "at 550 Hz, 1.10 kHz and 1.65 kHz, harmonics of one sounder"
    )


def test_alarms_are_frozen_values() -> None:
    """What was told does not change when the alarm goes on."""
    matcher = Matcher()
    told: list[Alarm] = [event.alarm for one in breaths(6) for event in matcher.hear(one)]
    assert [alarm.beeps for alarm in told] == [3, 4, 5, 6]
