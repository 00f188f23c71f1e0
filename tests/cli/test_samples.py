"""The sample night: the kept files are what its scenario gives, and the review finds in it what its truth holds."""

from pathlib import Path

import numpy as np
import pytest
import soundfile

from beepwatch.cli import main
from beepwatch.synthesis import as_json, as_tsv, decode, render

SAMPLES = Path(__file__).parents[2] / "samples"
DEVICE = ["lead-disconnect", "backup-battery", "battery-critical"]


def test_the_kept_night_is_what_its_scenario_renders() -> None:
    """Truth files to the letter, sound to one step of 16 bits (other processors round sines otherwise)."""
    scene = render(decode((SAMPLES / "night.toml").read_text(encoding="utf-8")))
    assert (SAMPLES / "night.json").read_text(encoding="utf-8") == as_json(scene.truth)
    assert (SAMPLES / "night.tsv").read_text(encoding="utf-8") == as_tsv(scene.truth)
    kept, rate = soundfile.read(SAMPLES / "night.flac", dtype="int16")
    assert rate == scene.rate
    assert np.max(np.abs(kept - np.rint(scene.samples * 32768.0))) <= 1
    assert (SAMPLES / "night.flac").stat().st_size < 3e6


def test_the_night_holds_all_three_device_alarms() -> None:
    """And things that are none: a door and a smoke alarm's chirp."""
    truth = render(decode((SAMPLES / "night.toml").read_text(encoding="utf-8"))).truth
    assert [alarm.pattern for alarm in truth.alarms] == DEVICE
    assert {beep.label for beep in truth.beeps} == {*DEVICE, "chirp"}
    assert {other.label for other in truth.others} == {"thump"}


def test_the_review_of_the_night_is_its_truth(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Event-based scores by sed_eval 0.2.1: every beep and alarm within 200 ms and 20 % of length, none extra."""
    import sed_eval  # noqa: PLC0415 - slow to import

    assert main(["review", "--format", "tsv", str(SAMPLES / "night.flac")]) == 0
    found = tmp_path / "found.tsv"
    found.write_text(capsys.readouterr().out, encoding="utf-8")
    score = sed_eval.sound_event.EventBasedMetrics(
        event_label_list=["beep", *DEVICE], t_collar=0.2, percentage_of_length=0.2
    )
    score.evaluate(
        reference_event_list=sed_eval.io.load_event_list(str(SAMPLES / "night.tsv")),
        estimated_event_list=sed_eval.io.load_event_list(str(found)),
    )
    overall = score.results_overall_metrics()
    assert overall["error_rate"]["error_rate"] == 0
    assert overall["f_measure"]["f_measure"] == 1


def test_nothing_is_named_in_the_quiet_hour(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """An hour of swelling hiss, doors, an oven and a chirp each minute gives no alarm."""
    sound = tmp_path / "quiet.flac"
    assert main(["synth", str(SAMPLES / "quiet.toml"), "-o", str(sound)]) == 0
    capsys.readouterr()
    assert main(["review", "--format", "jsonl", str(sound)]) == 0
    assert '"alarm"' not in capsys.readouterr().out
