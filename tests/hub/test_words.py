"""What goes over the wire carries no names, and only a fresh answer to an open alarm counts."""

import json
from datetime import UTC, datetime, timedelta

import pytest

from beepwatch.board.state import OpenAlarm, State
from beepwatch.hub import words
from beepwatch.waking.actions import Alert

NOW = datetime(2026, 3, 1, 2, 0, tzinfo=UTC)
ALARM = OpenAlarm(
    7, "lead-disconnect", "high", "Cable alarm: the device may not help Sam breathe",
    ("Anna. Anna.", "Go to Sam now."), NOW, "waking", going="Anna",
)  # fmt: skip
STATE = State(hearing="listening", since=NOW, alarms=(ALARM,), run="abc")


def answer(alarm: str = "abc-7", at: datetime = NOW) -> bytes:
    return json.dumps({"alarm": alarm, "at": at.isoformat()}).encode()


def test_no_payload_carries_a_name() -> None:
    """Topics and payloads say what sounds and how urgent it is, and nothing of who the family is."""
    alert = Alert((7,), "lead-disconnect", "high", ALARM.title, ALARM.lines, False, "Anna")
    sent = [
        words.standing(STATE, stuck=False),
        words.most_urgent(STATE),
        words.beat(1, STATE, False, NOW),
        words.call(alert, 7, "abc", NOW),
    ]
    for payload in sent:
        assert b"Sam" not in payload
        assert b"Anna" not in payload
    assert json.loads(sent[1])["alarm"] == "abc-7"
    assert json.loads(sent[3])["pattern"] == "lead-disconnect"


def test_a_program_that_hangs_is_not_told_as_listening() -> None:
    """Where the loop has put nothing up for seconds, the hub hears "stuck"."""
    assert json.loads(words.standing(STATE, stuck=True))["hearing"] == "stuck"
    assert json.loads(words.beat(1, STATE, True, NOW))["hearing"] == "stuck"


def test_without_an_alarm_the_topic_says_so() -> None:
    """The retained alarm topic is told empty, never left with what was."""
    assert json.loads(words.most_urgent(State())) == {"alarm": None}


def test_a_fresh_answer_to_an_open_alarm_counts() -> None:
    """It names the alarm; up to 30 s on the way are allowed."""
    assert words.answered(answer(), False, STATE, NOW) == 7
    assert words.answered(answer(at=NOW - timedelta(seconds=29.9)), False, STATE, NOW) == 7


@pytest.mark.parametrize(
    ("payload", "retained", "why"),
    [
        (answer(), True, "retained"),
        (answer(at=NOW - timedelta(seconds=30.1)), False, "30 s"),
        (answer(at=NOW + timedelta(seconds=5.1)), False, "30 s"),
        (answer("abc-8"), False, "no open alarm"),
        (answer("abd-7"), False, "no open alarm"),
        (b'{"alarm": "abc-7", "at": "2026-03-01T02:00:00"}', False, "offset"),
        (b'{"alarm": "abc-7"}', False, "it is not"),
        (b"going", False, "it is not"),
        (b"\xff\xfe", False, "it is not"),
        (b"", False, "it is not"),
        (b"[" * 999, False, "it is not"),
        (b" " * 1001, False, "too long"),
    ],
)
def test_any_other_answer_does_not(payload: bytes, retained: bool, why: str) -> None:
    """Retained, old, ahead, for another alarm or run, or not understood: it silences nothing."""
    told = words.answered(payload, retained, STATE, NOW)
    assert isinstance(told, str)
    assert why in told
