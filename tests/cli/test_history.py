"""`beepwatch history`: what it prints, in each of its forms, and what it refuses."""

import csv
import io
import json
import os
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TypeAlias
from zoneinfo import ZoneInfo

import msgspec
import pytest

from beepwatch import cli
from beepwatch.cli.history import length, moment
from beepwatch.errors import InputError
from beepwatch.events import Alarm
from beepwatch.records.store import Store

BERLIN = ZoneInfo("Europe/Berlin")
EVENING = datetime(2026, 3, 28, 22, 0, tzinfo=BERLIN)
"""The night of the change to summer time: 06:00 is 7 h later."""
LEAD = Alarm(
    1, "lead-disconnect", "high", 14400.0, 14411.5, None, 14411.2, 3, 1.2, 5.0, 2730.0, 0.98,
    "3 beeps of 1.2 s, one every 5.0 s (12 a minute), all at 2.73 kHz",
)  # fmt: skip


@dataclass(frozen=True)
class Printed:
    code: int
    out: str
    err: str


History: TypeAlias = Callable[..., Printed]


class Line(msgspec.Struct):
    """The contract of a JSON line; msgspec reads RFC 3339 by itself."""

    pattern: str
    priority: str
    began: datetime
    ended: datetime | None
    woken_after: float | None
    acknowledged_after: float | None


def later(**lengths: float) -> datetime:
    """A moment of the night, by the clock that hangs beside the bed."""
    return (EVENING.astimezone(UTC) + timedelta(**lengths)).astimezone(BERLIN)


@pytest.fixture(autouse=True)
def berlin(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """The household's clock is that of Berlin."""
    was = os.environ.get("TZ")
    monkeypatch.setenv("TZ", "Europe/Berlin")
    time.tzset()
    yield
    monkeypatch.delenv("TZ") if was is None else monkeypatch.setenv("TZ", was)
    time.tzset()


@pytest.fixture
def history(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> History:
    """Runs the command on the history in `tmp_path`."""
    monkeypatch.setattr(cli, "VERBS", ("history",))

    def run(*arguments: str, data: Path = tmp_path) -> Printed:
        code = cli.main(["history", "--data", str(data), *arguments])
        return Printed(code, *capsys.readouterr())

    return run


@pytest.fixture
def night(tmp_path: Path) -> None:
    """22:00 to 06:00: an alarm that is answered, an unplugged microphone, a crash at 05:00 in mid-alarm."""
    store = Store(tmp_path)
    span = store.begin_listening("USB microphone", "household", EVENING)
    alarm = store.raise_alarm(span, LEAD, later(hours=4), later(hours=4, seconds=11.5))
    store.note(alarm, "woken", later(hours=4, seconds=11.9), 0.4)
    store.note(alarm, "acknowledged", later(hours=4, seconds=46.5), 35.0)
    store.end_alarm(alarm, replace(LEAD, beeps=40, last=14596.2, ended=14596.2), later(hours=4, seconds=196.2))
    store.gap(span, later(hours=2), later(hours=2, minutes=5), "microphone unplugged")
    store.extend_listening(span, later(hours=6), 3.0)
    store.raise_alarm(
        span, replace(LEAD, number=2, onset=21580.0, last=21591.2), later(hours=5, minutes=59), later(hours=6)
    )
    store.close()


@pytest.fixture
def recording(tmp_path: Path) -> None:
    """A recording that was sent through the loop, with an alarm in it."""
    store = Store(tmp_path)
    span = store.begin_listening("kitchen.wav", "recording", later(hours=3))
    store.raise_alarm(span, replace(LEAD, pattern="fire"), later(hours=3), later(hours=3))
    store.end_listening(span, later(hours=3, minutes=1))
    store.close()


@pytest.mark.usefixtures("night")
def test_the_night_is_told_in_plain_lines(history: History) -> None:
    """What it was, when by the clock beside the bed, how long, who woke and answered; then the hours with each gap."""
    told = history("--since", "2026-03-28T20:00", "--until", "2026-03-29T06:00")
    assert (told.code, told.err) == (0, "")
    assert told.out == (
        "Sun 29 Mar 2026, 03:00:00 +02:00  lead disconnect, high priority (number 1)\n"
        "    went on for 3 min 16 s\n"
        "    woken within 1 s, answered after 35 s\n"
        "    3 beeps of 1.2 s, one every 5.0 s (12 a minute), all at 2.73 kHz\n"
        "\n"
        "Sun 29 Mar 2026, 04:59:00 +02:00  lead disconnect, high priority (number 2)\n"
        "    its end was not heard; it had gone on for 11 s when listening stopped\n"
        "    nobody was woken, nobody answered\n"
        "    3 beeps of 1.2 s, one every 5.0 s (12 a minute), all at 2.73 kHz\n"
        "\n"
        "From Sat 28 Mar 2026, 20:00:00 +01:00 to Sun 29 Mar 2026, 06:00:00 +02:00:\n"
        "  listened 5 h 54 min of 9 h 0 min; 2 alarms heard in that time\n"
        "  3 s of sound was lost in short pieces\n"
        "  not listening from Sat 28 Mar 2026, 20:00:00 +01:00 to Sat 28 Mar 2026, 22:00:00 +01:00: "
        "beepwatch had not been started yet\n"
        "  not listening from Sun 29 Mar 2026, 00:00:00 +01:00 to Sun 29 Mar 2026, 00:05:00 +01:00: "
        "microphone unplugged\n"
        "  not listening from Sun 29 Mar 2026, 05:00:00 +02:00 to Sun 29 Mar 2026, 06:00:00 +02:00: "
        "nothing was written since (a crash, a power cut, or the microphone does not deliver)\n"
        "\n"
        f"{cli.CAUTION}\n"
    )


@pytest.mark.usefixtures("night")
def test_a_json_line_an_alarm_is_all_of_standard_output(history: History) -> None:
    """Read by another parser: pattern, priority, both times with their offsets, both waits; null where not heard."""
    told = history("--format", "jsonl")
    one, two = (msgspec.json.decode(line, type=Line, strict=True) for line in told.out.splitlines())
    assert (told.code, told.err) == (0, "")
    assert (one.pattern, one.priority, one.began) == ("lead-disconnect", "high", later(hours=4))
    assert one.ended == later(hours=4, seconds=196.2)
    assert (one.woken_after, one.acknowledged_after) == (0.4, 35.0)
    assert json.loads(told.out.splitlines()[0])["began"] == "2026-03-29T03:00:00.000+02:00"
    assert (two.ended, two.woken_after, two.acknowledged_after) == (None, None, None)


@pytest.mark.usefixtures("night")
def test_the_csv_is_the_same_table(history: History) -> None:
    """CRLF ends, a line of names, an empty field for what was not heard."""
    told = history("--format", "csv")
    assert told.out.count("\r\n") == 3
    one, two = csv.DictReader(io.StringIO(told.out, newline=""), strict=True)
    lines = [json.loads(line) for line in history("--format", "jsonl").out.splitlines()]
    assert list(one) == list(lines[0])
    assert one["began"] == lines[0]["began"]
    assert (two["ended"], two["woken_after"]) == ("", "")


@pytest.mark.usefixtures("night")
def test_the_hours_listened_are_a_list_of_their_own(history: History) -> None:
    """With --listening, spans and gaps in place of the alarms, in each form."""
    until = ("--until", "2026-03-29T06:00")
    lines = [json.loads(line) for line in history("--format", "jsonl", "--listening", *until).out.splitlines()]
    assert [(line["record"], line["seconds"]) for line in lines] == [
        ("listening", 21600.0), ("gap", 300.0), ("gap", 3600.0),
    ]  # fmt: skip
    assert history("--format", "csv", "--listening", *until).out.count("\r\n") == 4
    text = history("--listening", *until).out
    assert "lead disconnect" not in text
    assert "listened 5 h 54 min of 7 h 0 min" in text


@pytest.mark.usefixtures("night", "recording")
def test_recordings_are_shown_only_when_asked_for(history: History) -> None:
    """And then nothing else."""
    assert "fire" not in history().out
    assert "kitchen.wav" not in history("--listening").out
    told = history("--recordings").out
    assert "fire, high priority in kitchen.wav" in told
    assert "Recordings heard: 1; 1 alarm in them\n  Sun 29 Mar 2026, 01:00:00  kitchen.wav: 1 min 0 s" in told
    assert "lead disconnect" not in told
    (line,) = history("--recordings", "--format", "jsonl").out.splitlines()
    assert json.loads(line)["pattern"] == "fire"


@pytest.mark.usefixtures("night")
@pytest.mark.parametrize(
    ("since", "until", "alarms"),
    [
        ("2026-03-29", "2026-03-29", 2),
        ("2026-03-28", "2026-03-28", 0),
        ("2026-03-29T01:30:00Z", "2026-03-29T03:00:00Z", 1),
        ("2026-03-29 03:03:00+02:00", "2026-03-29 04:00+02:00", 1),
        ("2026-03-29t04:00:00.5", "2026-03-29T04:58:59.999999", 0),
    ],
)
def test_a_period_is_given_by_dates_or_by_times(history: History, since: str, until: str, alarms: int) -> None:
    """A date is local and counts to its end; a time may name its zone; an alarm counts where it reaches in."""
    told = history("--format", "jsonl", "--since", since, "--until", until)
    assert len(told.out.splitlines()) == alarms


@pytest.mark.parametrize("option", ["--since", "--until"])
@pytest.mark.parametrize(
    "given",
    ["yesterday", "2026-02-30", "2026-3-1", "2026-03-01T25:00", "2026-W10-1", "20260301", "",
     "2026-03-01T10:00+99:00", "\u0662\u0660\u0662\u0666-03-01", "2026-03-01T10:00:00 Europe/Berlin"],
)  # fmt: skip
def test_a_time_that_is_none_is_refused_in_one_line(history: History, option: str, given: str) -> None:
    """It names the option and shows how to write one; exit code 2."""
    told = history(option, given)
    assert (told.code, told.out, told.err.count("\n")) == (2, "", 1)
    assert f"{option} {given!r} is no date: write it like 2026-03-01," in told.err


def test_a_period_that_is_turned_round_is_refused(history: History) -> None:
    """As is one that has not begun."""
    told = history("--since", "2026-03-02", "--until", "2026-03-01")
    assert (told.code, told.err) == (2, "beepwatch: --since 2026-03-02 is not before --until and now\n")
    assert history("--since", "2999-01-01").err == "beepwatch: --since 2999-01-01 is not before now\n"


@pytest.mark.usefixtures("night")
def test_no_alarms_is_only_said_with_the_hours_listened(history: History) -> None:
    """In text as beside a table without rows; where nothing was listened to, nothing is said about alarms."""
    period = ("--since", "2026-03-28T22:00", "--until", "2026-03-28T23:00")
    assert "listened 59 min 59 s of 1 h 0 min; no alarms heard in that time" in history(*period).out
    assert history(*period, "--format", "jsonl").err == (
        "beepwatch: no alarms; listened for 59 min 59 s (--listening tells when)\n"
    )
    told = history("--until", "2026-03-01")
    assert "Nothing was listened to in this time, so nothing can be said about alarms." in told.out
    assert "no alarms" not in told.out
    assert cli.CAUTION in told.out
    assert "listened for no time" in history("--until", "2026-03-01", "--format", "csv").err
    assert "No recordings were listened to" in history("--recordings").out


def test_a_folder_without_a_history_is_refused_and_left_alone(history: History, tmp_path: Path) -> None:
    """A misspelt folder must not read as a quiet night."""
    told = history()
    assert (told.code, told.out) == (2, "")
    assert told.err == (
        f"beepwatch: no history in {tmp_path}: name the folder that `beepwatch watch --data` was given\n"
    )
    assert list(tmp_path.iterdir()) == []


def test_a_damaged_history_is_told_in_one_line(history: History, tmp_path: Path) -> None:
    """With what to do; exit code 2."""
    (tmp_path / "history.sqlite3").write_bytes(b"scribble" * 1000)
    told = history()
    assert (told.code, told.out, told.err.count("\n")) == (2, "", 1)
    assert "keep it, but move it away to begin a new one" in told.err


def test_an_alarm_that_goes_on_now_is_told_as_such(history: History, tmp_path: Path) -> None:
    """While `watch` writes: the reader is not in its way, and says that it listens."""
    now = datetime.now(UTC)
    store = Store(tmp_path)
    span = store.begin_listening("USB microphone", "household", now - timedelta(minutes=10))
    store.raise_alarm(span, LEAD, now - timedelta(seconds=15), now - timedelta(seconds=4))
    store.extend_listening(span, now)
    told = history().out
    store.close()
    assert "    going on: 11 s so far\n" in told
    assert "\n  listening now\n" in told
    assert "not listening" not in told


def test_a_name_cannot_steer_the_terminal(history: History, tmp_path: Path) -> None:
    """Escape characters in a recording's name are shown as question marks."""
    store = Store(tmp_path)
    store.end_listening(store.begin_listening("a\x1b[2Jb\n.wav", "recording", EVENING), later(seconds=5))
    store.close()
    assert "a?[2Jb?.wav: 5 s" in history("--recordings").out


@pytest.mark.parametrize(
    ("seconds", "told"),
    [(0.4, "under 1 s"), (59.9, "59 s"), (60, "1 min 0 s"), (3599, "59 min 59 s"), (28799, "7 h 59 min"),
     (100 * 3600, "100 h 0 min"), (float("nan"), "an unknown time"), (-1, "an unknown time")],
)  # fmt: skip
def test_lengths_are_never_rounded_up(seconds: float, told: str) -> None:
    """Seven hours and 59 minutes listened are no eight hours."""
    assert length(seconds) == told


def test_an_hour_that_comes_twice_or_not_at_all_is_taken() -> None:
    """In Berlin 02:30 comes twice on 25 October 2026: the first counts; on 29 March it is taken near by."""
    assert moment("--since", "2026-10-25T02:30").astimezone(UTC).hour == 0
    assert moment("--since", "2026-03-29T02:30").astimezone(UTC).hour in (0, 1)  # as the platform has it


def test_the_last_day_there_is_has_no_end() -> None:
    """A date that cannot be counted to its end is refused, not a traceback."""
    with pytest.raises(InputError, match="--until '9999-12-31' is no date"):
        moment("--until", "9999-12-31", to_the_end=True)
