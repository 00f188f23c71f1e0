"""How long the household was listened to, and each stretch in which it was not.

"No alarms" means nothing without it. Pure: spans of the history in, hours and holes out.
"""

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TypeAlias

from beepwatch.records.rows import Gap, Span

Stretch: TypeAlias = tuple[datetime, datetime]

NOT_STARTED = "beepwatch had not been started yet"
NOT_RUNNING = "beepwatch was not running"
BROKE_OFF = "listening broke off without being ended (a crash or a power cut)"
SILENT = "nothing was written since (a crash, a power cut, or the microphone does not deliver)"

FRESH = timedelta(seconds=30)
"""An open span extended this lately is still listening: judgement, several times the pace of `watch`."""


@dataclass(frozen=True, slots=True)
class Listened:
    """What was listened to between `since` and `until`."""

    since: datetime
    until: datetime
    seconds: float
    """Time heard: spans without their gaps, overlaps counted once, lost pieces taken off."""
    lost: float
    """Seconds lost in pieces too short to be gaps."""
    gaps: tuple[Gap, ...]
    """Every stretch not listened to, by time, with its reason; planned pauses among them."""
    now: bool
    """Whether it was still listening at `until`."""

    @property
    def paused(self) -> float:
        """Seconds of planned pauses: counted apart from those that nobody wanted."""
        return sum((gap.ended - gap.began).total_seconds() for gap in self.gaps if gap.planned is not None)

    @property
    def missed(self) -> float:
        """Seconds not listened to that nobody had planned."""
        return sum((gap.ended - gap.began).total_seconds() for gap in self.gaps if gap.planned is None)


def listened(spans: Sequence[Span], since: datetime, until: datetime, now: datetime) -> Listened:
    """Add up the spans between `since` and `until`, which is not after `now`.

    spans: in any order, overlaps allowed; of those before `since` only the last one matters (it tells why
    nothing was heard at first).
    """
    spans = sorted((span for span in spans if span.until > span.began), key=lambda span: span.until)
    heard = _union(clipped for span in spans for clipped in _clip(_pieces(span), since, until))
    live = now - until < FRESH and any(still_listening(span, now) for span in spans)
    holes = list(_complement(heard, since, until))
    if live and holes and until - holes[-1][0] < FRESH:
        holes.pop()  # the span has only not been extended yet
    lost = sum(_lost(span, since, until) for span in spans)
    seconds = sum((end - start).total_seconds() for start, end in heard)
    return Listened(since, until, max(0.0, seconds - lost), lost, tuple(_explained(holes, spans)), live)


def still_listening(span: Span, now: datetime) -> bool:
    """Whether `watch` is writing this span at `now`, as far as the file can tell."""
    return not span.closed and now - span.until < FRESH


def _pieces(span: Span) -> Iterator[Stretch]:
    """A span without its gaps."""
    start = span.began
    for gap in sorted(span.gaps, key=lambda gap: gap.began):
        if gap.began > start:
            yield start, min(gap.began, span.until)
        start = max(start, gap.ended)
    if start < span.until:
        yield start, span.until


def _clip(stretches: Iterator[Stretch], since: datetime, until: datetime) -> Iterator[Stretch]:
    for start, end in stretches:
        if max(start, since) < min(end, until):
            yield max(start, since), min(end, until)


def _union(stretches: Iterator[Stretch]) -> list[Stretch]:
    joined: list[Stretch] = []
    for start, end in sorted(stretches):
        if joined and start <= joined[-1][1]:
            joined[-1] = joined[-1][0], max(joined[-1][1], end)
        else:
            joined.append((start, end))
    return joined


def _complement(heard: Sequence[Stretch], since: datetime, until: datetime) -> Iterator[Stretch]:
    start = since
    for begin, end in heard:
        if start < begin:
            yield start, begin
        start = end
    if start < until:
        yield start, until


def _lost(span: Span, since: datetime, until: datetime) -> float:
    """The part of a span's lost seconds that falls in the period, as if they were spread evenly."""
    inside = min(span.until, until) - max(span.began, since)
    return span.lost * max(0.0, inside / (span.until - span.began))


def _explained(holes: Sequence[Stretch], spans: Sequence[Span]) -> Iterator[Gap]:
    """Each hole cut where its reason changes. spans: by `until`."""
    gaps = sorted((gap for span in spans for gap in span.gaps), key=lambda gap: gap.began)
    ends = [span.until for span in spans]
    first = 0
    for start, end in holes:
        while first < len(gaps) and gaps[first].ended <= start:
            first += 1
        at = start
        for gap in gaps[first:]:
            if gap.began >= end:
                break
            if gap.ended <= at:
                continue
            if gap.began > at:
                yield Gap(at, gap.began, _why_off(at, spans, ends))
            yield Gap(max(at, gap.began), min(end, gap.ended), gap.reason, gap.planned)
            at = min(end, gap.ended)
        if at < end:
            yield Gap(at, end, _why_off(at, spans, ends))


def _why_off(at: datetime, spans: Sequence[Span], ends: Sequence[datetime]) -> str:
    """Why nothing was heard from `at` on, outside every gap: how the span before it ended."""
    after = bisect_right(ends, at)
    if after == 0:
        return NOT_STARTED
    if spans[after - 1].closed:
        return NOT_RUNNING
    return BROKE_OFF if after < len(spans) else SILENT
