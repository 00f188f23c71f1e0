"""The figures of a report, each beside what the history itself tells."""

import statistics
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from beepwatch.records.reading import History
from beepwatch.report import words
from beepwatch.report.figures import Change, Review
from beepwatch.report.rates import ratio
from beepwatch.report.review import Wanted
from tests.invented import FIRST, LAST, ZONE
from tests.report.conftest import NOW, reviewed


def test_alarms_by_kind_are_those_of_the_history(ordinary_folder: Path, ordinary_review: Review) -> None:
    """Count, total and longest, drills left out; most urgent first."""
    period = ordinary_review.period
    with History(ordinary_folder) as history:
        alarms = [one for one in history.alarms(period.since, period.until) if not one.drill]
    for kind in ordinary_review.kinds:
        mine = [one.lasted for one in alarms if one.state.pattern == kind.pattern]
        assert (kind.count, kind.longest) == (len(mine), max(mine))
        assert kind.total == pytest.approx(sum(mine))
    assert sum(kind.count for kind in ordinary_review.kinds) == len(alarms)
    assert [kind.priority for kind in ordinary_review.kinds] == ["high", "medium", "low"]
    assert ordinary_review.drills == 2


def test_the_hours_are_those_of_the_spans(ordinary_folder: Path, ordinary_review: Review) -> None:
    """Summed by hand: spans without gaps and pauses."""
    since, until = ordinary_review.period.since, ordinary_review.period.until
    with History(ordinary_folder) as history:
        spans = [one for one in history.spans(since, until) if one.began >= since]
        heard = sum(
            (one.until - one.began).total_seconds()
            - sum((min(gap.ended, one.until) - max(gap.began, one.began)).total_seconds() for gap in one.gaps)
            for one in spans
        )
        lost = sum(one.lost for one in spans)
    assert ordinary_review.seconds == pytest.approx(heard - lost, abs=1)
    assert sum(night.seconds for night in ordinary_review.nights) == pytest.approx(ordinary_review.seconds, abs=1)
    assert len(ordinary_review.nights) == 61
    assert len(ordinary_review.listened_nights) == 59  # two nights away
    worst = max(ordinary_review.holes, key=lambda hole: hole.seconds)
    assert (worst.seconds, worst.reason) == (48 * 60, "no sound came from the microphone")


def test_answers_with_drills_apart(ordinary_folder: Path, ordinary_review: Review) -> None:
    """Median and longest of those that woke somebody."""
    since, until = ordinary_review.period.since, ordinary_review.period.until
    with History(ordinary_folder) as history:
        woken = [one for one in history.alarms(since, until) if one.woken_after is not None]
    for answers, drill in ((ordinary_review.answers, False), (ordinary_review.drill_answers, True)):
        after = [one.acknowledged_after for one in woken if one.drill is drill and one.acknowledged_after is not None]
        assert answers is not None
        assert (answers.woken, answers.median, answers.longest) == (len(after), statistics.median(after), max(after))


def test_what_a_family_leaves_out_is_left_out(ordinary_folder: Path) -> None:
    """Answers, drills, notes and names, each by its own word."""
    bare = reviewed(ordinary_folder, Wanted(names=False, answers=False, drills=False, notes=False))
    assert (bare.answers, bare.drill_answers, bare.notes, bare.person) == (None, None, None, "")
    told = str([words.title(bare), *words.sections(bare)])
    for left_out in ("Anna", "Ben", "Sam", "answered", "Notes", "slipped"):
        assert left_out not in told
    assert reviewed(ordinary_folder, Wanted(drills=False)).drill_answers is None


def test_the_change_is_told_in_a_plain_sentence(ordinary_review: Review) -> None:
    """The invented leads slip nearly four times as often, and that is no chance; the unknown beeps did not change."""
    lead, *_, unknown = (words.change_line(one, ordinary_review) for one in ordinary_review.changes)
    assert lead.startswith("lead disconnect: 18 occasions now, 5 before, 3.6 times as often (95 %: 1.3 to ")
    assert lead.endswith("MORE OFTEN than before.")
    assert unknown.endswith("no clear change; this can be chance.")


@pytest.mark.parametrize(
    ("now", "before", "told"),
    [
        (0, 12, "LESS OFTEN"),
        (12, 0, "at least"),
        (12, 0, "MORE OFTEN"),
        (1, 0, "no clear change"),
        (3, 3, "1.0 times as often"),
    ],
)
def test_none_in_one_of_the_periods(ordinary_review: Review, now: int, before: int, told: str) -> None:
    """There is a sentence all the same, and none of them holds "inf" or "nan"."""
    line = words.change_line(Change("fire", now, before, ratio(now, 500, before, 500)), ordinary_review)
    assert told in line
    assert "inf" not in line.split(":", 1)[1]
    assert "nan" not in line


def test_too_little_listening_compares_nothing(full_review: Review) -> None:
    """Nothing was listened to before the full one: no ratio is told."""
    assert full_review.changes
    assert all(
        words.change_line(one, full_review).endswith("too little listening to tell.") for one in full_review.changes
    )


def test_three_lead_disconnects_in_nine_minutes(ordinary_review: Review) -> None:
    """The cluster that was invented, in words, and its alarms are marked."""
    (one,) = ordinary_review.clusters
    assert words.cluster_line(one, ordinary_review).endswith("three lead disconnect alarms in 9 minutes")
    assert [told.alarm.id for told in ordinary_review.high if told.cluster] == list(one.alarms)


def test_the_battery_log(ordinary_review: Review) -> None:
    """A change after its hours of use, by the hours a day that are set: 44 days of 11 h; early alarms are told."""
    (one,) = ordinary_review.battery.changes
    assert one.hours == pytest.approx(44 * 11, abs=1)
    assert all(early.hours < 0.7 * early.expected for early in ordinary_review.battery.early)


def test_the_rhythm_of_the_exit_site(ordinary_review: Review) -> None:
    """Each three days, once due earlier."""
    (site,) = ordinary_review.rhythms
    assert (site.typical, site.wanted, site.early) == (3, 3, 1)
    assert site.count == 20


def test_an_empty_history_says_nothing_of_alarms(empty_review: Review) -> None:
    """No alarms without listening are no good news."""
    assert dict(words.listening(empty_review))["Hours listened"] == "none: nothing can be said about alarms"
    told = {section.title: section.empty for section in words.sections(empty_review) if not section.entries}
    for title in ("High-priority alarms, newest first", "Alarms close together", "Times it could not hear or wake"):
        assert told[title] == "Nothing was listened to, so nothing can be said."
    assert words.change_lines(empty_review)[0].endswith("No alarms in either period.")


def test_a_period_under_way(ordinary_folder: Path) -> None:
    """So far: the nights to come are not counted."""
    now = datetime(2026, 3, 1, 3, 0, tzinfo=UTC)
    told = reviewed(ordinary_folder, now=now)
    assert len(told.nights) == (now.astimezone(ZONE).date() - FIRST).days
    assert "so far" in words.period_line(told)
    assert "so far" not in words.period_line(reviewed(ordinary_folder, now=NOW))


def test_the_period_before_is_as_long(ordinary_review: Review) -> None:
    """Night for night."""
    before = ordinary_review.period.before
    assert before.nights == ordinary_review.period.nights == (LAST - FIRST).days + 1
    assert before.last + timedelta(days=1) == FIRST
    assert before.until == ordinary_review.period.since


def test_a_deleted_note_is_told_as_deleted(ordinary_review: Review) -> None:
    """Not as nothing."""
    assert ordinary_review.notes is not None
    gone = replace(ordinary_review, notes=(replace(ordinary_review.notes[0], text=None),))
    assert "(its words were deleted)" in str(words.sections(gone)[-1].entries)


def test_a_long_note_is_cut_and_says_so() -> None:
    """With where it is whole."""
    assert words.shown("x" * 1_000_000) == f"{'x' * 300} ... (1000000 letters; whole in the history)"
    assert words.shown("a\n b") == "a b"
