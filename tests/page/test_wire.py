"""What is sent to the page: whole, finite, and never vouching for a loop that hangs."""

import json
import math
import re
from dataclasses import replace
from datetime import timedelta
from importlib.resources import files

import pytest
import textstat

from beepwatch.board.board import STALE, Posted
from beepwatch.board.state import Asked, Happened, Hearing
from beepwatch.page.wire import FLOOR, events_frame, now_frame
from tests.page.house import NIGHT, REST, open_alarm


def test_a_state_is_sent_whole() -> None:
    """Alarms with their ids, times as the household's clock has them, what is asked, the caution."""
    state = replace(REST, alarms=(open_alarm(3, drill=True),), asked=(Asked(2, "Cable alarm"),), margin=5.6)
    told = json.loads(now_frame(Posted(1, 0.0, state), 0.1, NIGHT + timedelta(seconds=2)))
    assert told["hearing"] == "listening"
    assert told["heard_ago"] == 2.0
    assert told["margin"] == 6
    assert told["since"]["clock"] == "02:14"
    assert told["caution"] == REST.caution
    (alarm,) = told["alarms"]
    assert (alarm["id"], alarm["stage"], alarm["drill"]) == ("r1:3", "waking", True)
    assert alarm["lines"] == list(open_alarm().lines)
    assert told["asked"] == [{"id": "r1:2", "title": "Cable alarm"}]


@pytest.mark.parametrize(
    ("hearing", "age", "told"),
    [
        ("listening", STALE - 0.1, "listening"),
        ("listening", STALE + 0.1, "stuck"),
        ("paused", STALE + 0.1, "stuck"),
        ("deaf", STALE + 0.1, "stuck"),
        ("ended", 100.0, "ended"),
    ],
)
def test_an_old_state_is_not_believed(hearing: Hearing, age: float, told: str) -> None:
    """Only the end, which the loop itself said, stays true."""
    frame = json.loads(now_frame(Posted(1, 0.0, replace(REST, hearing=hearing)), age, NIGHT))
    assert frame["hearing"] == told
    assert (frame["why"] != "") == (told == "stuck")


def test_silence_is_a_number() -> None:
    """JSON has no infinity, and browsers refuse one."""
    frame = now_frame(Posted(1, 0.0, replace(REST, levels=(-math.inf, math.nan, -3.2))), 0.0, NIGHT)
    assert json.loads(frame)["levels"] == [FLOOR, FLOOR, -3]


def test_events_keep_their_order_and_their_letters() -> None:
    """Newest first, whatever is in them, on one line of the stream."""
    frame = events_frame((Happened(NIGHT, "a\nb \u2028 <i>"), Happened(NIGHT, "c")))
    assert b"\n" not in frame
    assert [one["text"] for one in json.loads(frame)] == ["a\nb \u2028 <i>", "c"]


def test_the_pages_own_words_are_plain() -> None:
    """Every paragraph of the page is of reading grade 8 or lower (Flesch-Kincaid, by textstat)."""
    html = files("beepwatch.page").joinpath("static", "page.html").read_text("utf-8")
    told = [re.sub(r"<[^>]+>|\s+", " ", one).strip() for one in re.findall(r"<p[^>]*>(.*?)</p>", html, re.DOTALL)]
    long = [one for one in told if len(one.split()) > 12]
    assert len(long) >= 3
    assert [one for one in long if textstat.flesch_kincaid_grade(one) > 8] == []
