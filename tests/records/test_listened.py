"""Hours listened and holes, against a plain count of seconds."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from hypothesis import given
from hypothesis import strategies as st

from beepwatch.records.listened import (
    BROKE_OFF,
    NOT_RUNNING,
    NOT_STARTED,
    SILENT,
    Listened,
    listened,
    still_listening,
)
from beepwatch.records.rows import Gap, Span

START = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)


def at(seconds: float) -> datetime:
    return START + timedelta(seconds=seconds)


def span(began: float, until: float, *gaps: tuple[float, float], closed: bool = True, lost: float = 0.0) -> Span:
    told = tuple(Gap(at(start), at(end), f"gap {start}-{end}") for start, end in gaps)
    return Span(1, "household", "USB microphone", at(began), at(until), lost, closed, told)


def holes(found: Listened) -> list[tuple[float, float, str]]:
    return [
        ((gap.began - START).total_seconds(), (gap.ended - START).total_seconds(), gap.reason) for gap in found.gaps
    ]


def test_each_hole_has_its_length_and_its_reason() -> None:
    """Before the first start, a gap inside, a crash, an end by a person, and a gap that reaches the end."""
    spans = [span(10, 30, (15, 20)), span(40, 50, closed=False), span(70, 90, (85, 95))]
    found = listened(spans, at(0), at(100), at(5000))
    assert found.seconds == 15 + 10 + 15
    assert not found.now
    assert holes(found) == [
        (0, 10, NOT_STARTED),
        (15, 20, "gap 15-20"),
        (30, 40, NOT_RUNNING),
        (50, 70, BROKE_OFF),
        (85, 95, "gap 85-95"),
        (95, 100, NOT_RUNNING),
    ]


def test_a_span_before_the_period_only_tells_why_nothing_was_heard_at_first() -> None:
    """It adds no time."""
    found = listened([span(-50, -40), span(-30, -20, closed=False), span(10, 20)], at(0), at(20), at(5000))
    assert found.seconds == 10
    assert holes(found) == [(0, 10, BROKE_OFF)]


def test_a_span_extended_just_now_is_being_listened_to() -> None:
    """The few seconds since its last extension are no hole; half a minute without one is."""
    lately = [span(0, 100, closed=False)]
    assert holes(listened(lately, at(0), at(105), at(105))) == []
    assert listened(lately, at(0), at(105), at(105)).now
    silent = listened(lately, at(0), at(140), at(140))
    assert holes(silent) == [(100, 140, SILENT)]
    assert not silent.now
    assert not listened(lately, at(0), at(50), at(105)).now  # asked about an earlier time
    assert still_listening(lately[0], at(129))
    assert not still_listening(span(0, 100), at(101))


def test_lost_pieces_are_taken_off_in_proportion_to_the_part_asked_for() -> None:
    """8 s lost in 80 s: 4 s of them in one half."""
    found = listened([span(0, 80, lost=8.0)], at(40), at(80), at(5000))
    assert (found.seconds, found.lost) == (36.0, 4.0)


def test_a_clock_set_back_makes_no_negative_time() -> None:
    """A span that seems to end before it began adds nothing."""
    assert listened([span(100, 50)], at(0), at(200), at(5000)).seconds == 0.0


def test_a_night_with_a_change_of_time_has_its_true_length() -> None:
    """22:00 to 06:00 in Berlin: 7 h on the night of 29 March 2026, 9 h on that of 25 October."""
    berlin = ZoneInfo("Europe/Berlin")
    for month, day, hours in ((3, 28, 7), (10, 24, 9)):
        began = datetime(2026, month, day, 22, tzinfo=berlin)
        ended = datetime(2026, month, day + 1, 6, tzinfo=berlin)
        night = Span(1, "household", "USB microphone", began.astimezone(UTC), ended.astimezone(UTC), 0.0, True)
        found = listened([night], began.astimezone(UTC), ended.astimezone(UTC), ended.astimezone(UTC))
        assert found.seconds == hours * 3600


stretches = st.tuples(st.integers(0, 60), st.integers(0, 60)).map(lambda ends: (min(ends), max(ends)))
spans_of = st.builds(
    lambda ends, gaps, closed: span(*ends, *gaps, closed=closed),
    stretches,
    st.lists(stretches, max_size=3),
    st.booleans(),
)


@given(st.lists(spans_of, max_size=5), stretches.filter(lambda ends: ends[0] < ends[1]))
def test_time_heard_and_holes_fill_the_period_as_a_count_of_seconds_does(
    spans: list[Span], ends: tuple[int, int]
) -> None:
    """A second is heard if any span covers it outside that span's own gaps, and in a hole if none does."""

    def covered(second: int) -> bool:
        middle = at(second + 0.5)
        return any(
            one.began <= middle < one.until and not any(gap.began <= middle < gap.ended for gap in one.gaps)
            for one in spans
        )

    found = listened(spans, at(ends[0]), at(ends[1]), at(5000))
    heard = {second for second in range(*ends) if covered(second)}
    assert found.seconds == len(heard)
    missed = {second for start, end, _ in holes(found) for second in range(round(start), round(end))}
    assert missed == set(range(*ends)) - heard
    assert all(one.ended <= two.began for one, two in zip(found.gaps, found.gaps[1:], strict=False))
