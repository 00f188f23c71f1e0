"""JSON Lines, TSV and text of made-up events; the TSV is read by sed_eval and dcase_util themselves."""

import io
import json
import math
from dataclasses import replace
from pathlib import Path

import pytest

from beepwatch.cli import CAUTION
from beepwatch.cli.reporting.order import InOrder, Known
from beepwatch.cli.reporting.text import Text
from beepwatch.cli.reporting.writers import Heard, JsonLines, Tsv, Writer
from tests.cli.reporting.made_up import BATTERY, HUM, LEAD, beep, night

KEYS = {
    "beep": ["record", "file", "onset", "duration", "frequency", "level", "snr"],
    "tone": ["record", "file", "onset", "frequency", "level"],
    "alarm": [
        *("record", "file", "pattern", "priority", "onset", "raised", "ended", "beeps"),
        *("duration", "period", "frequency", "confidence", "why"),
    ],
}


def known() -> list[Known]:
    """The night in order."""
    order = InOrder()
    return [*order.hear(night()), *order.end()]


def write(writer: Writer, files: dict[str, list[Known]], seconds: float = 70.0) -> None:
    """Write files of one length."""
    for file, lines in files.items():
        writer.begin(file)
        for line in lines:
            writer.tell(line)
        writer.end(Heard(seconds))
    writer.close()


def test_json_lines_keep_keys_and_their_order() -> None:
    """The contract, key by key, for each kind of record."""
    out = io.StringIO()
    write(JsonLines(out), {"a b.wav": known()})
    lines = [json.loads(line) for line in out.getvalue().splitlines()]
    assert [line["record"] for line in lines] == [*["beep"] * 3, "alarm", "beep", "beep", "alarm", "tone"]
    for line in lines:
        assert list(line) == KEYS[line["record"]]
        assert line["file"] == "a b.wav"


def test_json_lines_are_rounded_as_told() -> None:
    """1 ms, 0.01 Hz, 0.1 dB; an open alarm and one of a single beep have nulls."""
    out = io.StringIO()
    write(JsonLines(out), {"x": [beep(10.00049), replace(LEAD, ended=21.2), BATTERY, HUM]})
    first, lead, battery, hum = (json.loads(line) for line in out.getvalue().splitlines())
    assert list(first.values())[2:] == [10.0, 1.2, 2730.13, -60.0, 10.0]
    assert (lead["raised"], lead["ended"], lead["period"]) == (21.5, 21.2, 5.0)
    assert (lead["confidence"], lead["beeps"], lead["frequency"]) == (0.9877, 3, 2730.13)
    assert (battery["ended"], battery["period"], battery["priority"]) == (None, None, "high")
    assert list(hum.values()) == ["tone", "x", 2.5, 1050.0, -52.0]


@pytest.mark.parametrize("snr", [math.inf, -math.inf, math.nan])
def test_numbers_stay_numbers(snr: float) -> None:
    """A beep in digital silence has no noise to stand over; JSON has no infinity."""
    out = io.StringIO()
    write(JsonLines(out), {"x": [replace(beep(1.0), snr=snr)]})
    assert abs(json.loads(out.getvalue())["snr"]) == 200.0


def test_a_name_that_is_no_utf8_does_not_stop_the_report() -> None:
    """Bytes that Python holds as lone surrogates become question marks."""
    out = io.StringIO()
    write(JsonLines(out), {"n\udce4me.wav": [HUM]})
    assert json.loads(out.getvalue())["file"] == "n?me.wav"


def test_sed_eval_and_dcase_util_read_the_tsv(tmp_path: Path) -> None:
    """Their own loaders (sed_eval 0.2.1, dcase_util 0.2.20) give onset, offset, label, file of each row."""
    import sed_eval  # noqa: PLC0415 - slow to import
    from dcase_util.containers import MetaDataContainer  # noqa: PLC0415

    out = io.StringIO()
    write(Tsv(out), {"a b.wav": [beep(10.0), replace(LEAD, ended=21.2), HUM], "c.wav": [BATTERY]})
    path = tmp_path / "found.tsv"
    path.write_text(out.getvalue())
    expected = [
        ("a b.wav", 10.0, 11.2, "beep"),
        ("a b.wav", 10.0, 21.2, "lead-disconnect"),
        ("c.wav", 40.0, 60.0, "battery-critical"),
    ]
    for events in (sed_eval.io.load_event_list(str(path)), MetaDataContainer(filename=str(path)).load()):
        rows = [(row["filename"], row["onset"], row["offset"], row["event_label"]) for row in events]
        assert rows == expected


def test_tsv_begins_with_onset_offset_label() -> None:
    """The header, then numbers; a tab in a file's name does not make a column."""
    out = io.StringIO()
    write(Tsv(out), {"a\tb\n.wav": [beep(1.0)]})
    assert out.getvalue() == "onset\toffset\tevent_label\tfilename\n1.000\t2.200\tbeep\ta b .wav\n"


def test_text_tells_each_alarm_and_the_caution_once() -> None:
    """What, when, how long, why; how much was heard; whether it still went on."""
    out = io.StringIO()
    write(Text(out), {"one.wav": known(), "two.wav": []})
    text = out.getvalue()
    for part in (
        "one.wav: 1 min 10 s of sound heard, 2 alarms found.",
        "0:10  Lead disconnect (high priority)",
        "Beeping from 0:10 to 0:26, 16 s.",
        "Why: 3 beeps of 1.2 s, one every 5.0 s (12 a minute), all at 2.73 kHz.",
        "Confidence 99 %; raised at 0:21.",
        "Beeping from 0:40 to 1:00, 20 s; still open when the file ends at 1:10.",
        "5 beeps in all, 0 of them outside of these alarms.",
        "A steady tone of 1.05 kHz from 0:02 on: a hum, no beep.",
        "two.wav: 1 min 10 s of sound heard, no alarm found.",
        "No beep was found.",
        "2 files, 2 min 20 s of sound heard.",
    ):
        assert part in text
    assert text.count(CAUTION) == 1
    assert text.endswith(CAUTION + "\n")


def test_the_timeline_shows_when() -> None:
    """60 characters of 70 s: lead from 10 to 26 s, battery from 40 to 60 s, the beeps within."""
    out = io.StringIO()
    write(Text(out), {"one.wav": known()})
    rows = out.getvalue().split("\n\n")[4].splitlines()
    assert rows == [
        "                   0:00                                                    1:10",
        "  Battery critical ..................................##################........",
        "  Lead disconnect  ........###############.....................................",
        "  All beeps        ........##..###..##..##...........##################........",
    ]


def test_text_never_claims_certainty_and_cannot_steer_a_terminal() -> None:
    """A confidence of 1 reads `over 99 %`; control characters of a name are shown as question marks."""
    out = io.StringIO()
    write(Text(out), {"\x1b[2Jnight.wav": [replace(BATTERY, confidence=1.0)]})
    assert "Confidence over 99 %" in out.getvalue()
    assert "100 %" not in out.getvalue()
    assert out.getvalue().startswith("?[2Jnight.wav: ")


def test_many_steady_tones_are_counted() -> None:
    """Five are named, the rest are a number."""
    out = io.StringIO()
    write(Text(out), {"x": [HUM] * 7})
    assert out.getvalue().count("A steady tone of") == 5
    assert "2 more steady tones." in out.getvalue()


def test_missing_sound_is_told_beside_what_was_heard() -> None:
    """Gaps are not hours heard."""
    out = io.StringIO()
    writer = Text(out)
    writer.begin("x")
    writer.end(Heard(3600.0, 600.0))
    assert "x: 50 min 0 s of sound heard (10 min 0 s missing), no alarm found." in out.getvalue()
