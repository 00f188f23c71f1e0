"""`beepwatch synth`: render a test night from a scenario, with the truth of it as JSON and TSV beside it."""

import argparse
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from beepwatch.cli import CAUTION
from beepwatch.errors import InputError
from beepwatch.synthesis import Plan, Scenario, as_json, as_tsv, blocks, decode, plan

FORMATS = {".wav": "WAV", ".flac": "FLAC"}
LARGEST_WAV = 4 * 10**9
"""Bytes of sound that the 32-bit lengths of a WAV file can tell."""


def add(verbs: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the verb to the command line."""
    verb = verbs.add_parser(
        "synth",
        help="render a test night from a scenario",
        description=(
            "Render the scenario (alarms, background, room; TOML) to a 16-bit mono file, with what is in it\n"
            "in OUT.json and OUT.tsv. The same scenario gives the same bytes."
        ),
        epilog=f"examples:\n  beepwatch synth samples/night.toml -o night.flac\n\n{CAUTION}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    verb.add_argument("scenario", type=Path, metavar="SCENARIO.toml")
    verb.add_argument("-o", "--output", type=Path, required=True, metavar="OUT", help="OUT.wav or OUT.flac")
    verb.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Write the sound and its truth; return 0. Raises InputError."""
    source: Path = arguments.scenario
    output: Path = arguments.output
    scenario = decode(_text(source), str(source))
    kind = _format(output, scenario)
    try:
        planned = plan(scenario)
    except InputError as error:
        raise InputError(f"{source}: {error}") from error
    recorded = _recorded(scenario, source.parent)
    try:
        clipped = _write(scenario, planned, recorded, output, kind)
        output.with_suffix(".json").write_text(as_json(planned.truth), encoding="utf-8")
        output.with_suffix(".tsv").write_text(as_tsv(planned.truth), encoding="utf-8")
    except OSError as error:
        raise InputError(f"{output}: cannot be written: {error.strerror or error}") from error
    print(_summary(output, planned, clipped))
    return 0


def _text(source: Path) -> str:
    """The scenario file's text. Raises InputError."""
    try:
        return source.read_text(encoding="utf-8")
    except UnicodeDecodeError as error:
        raise InputError(f"{source}: not a text file in UTF-8") from error
    except OSError as error:
        raise InputError(f"{source}: cannot be read: {error.strerror}") from error


def _format(output: Path, scenario: Scenario) -> str:
    """How to write `output`. Raises InputError where that cannot be, before any work is done."""
    kind = FORMATS.get(output.suffix.lower())
    if kind is None:
        raise InputError(f"{output}: name the output .wav or .flac")
    if not output.parent.is_dir():
        raise InputError(f"{output}: there is no folder {output.parent}; make it first")
    if kind == "WAV" and scenario.duration * scenario.rate * 2 > LARGEST_WAV:
        raise InputError(f"{output}: too long for a WAV file; name the output .flac")
    return kind


def _recorded(scenario: Scenario, folder: Path) -> NDArray[np.float32] | None:
    """The background recording, its channels averaged, at the scenario's rate; held in memory whole."""
    name = scenario.background.file
    if name is None:
        return None
    import soxr  # noqa: PLC0415 - only a recorded background needs it

    from beepwatch.sources.recording import Recording  # noqa: PLC0415

    with Recording(folder / name) as recording:
        mono = np.concatenate([block.samples.mean(axis=1) for block in recording.blocks()])
        same: NDArray[np.float32] = soxr.resample(np.nan_to_num(mono), recording.rate, scenario.rate)
    return same


def _write(scenario: Scenario, planned: Plan, recorded: NDArray[np.float32] | None, output: Path, kind: str) -> int:
    """Write the sound, rounded to 16 bits here so that no library decides how; return how many clipped."""
    import soundfile  # noqa: PLC0415 - `import beepwatch` stays quick

    clipped = 0
    try:
        with soundfile.SoundFile(output, "w", scenario.rate, 1, "PCM_16", format=kind) as file:
            for samples in blocks(scenario, planned, recorded):
                steps = np.rint(samples.astype(np.float64) * 32768)
                clipped += int(np.count_nonzero((steps > 32767) | (steps < -32768)))
                file.write(np.clip(steps, -32768, 32767).astype(np.int16))
    except soundfile.LibsndfileError as error:
        raise InputError(f"{output}: cannot be written: {error.error_string}") from error
    return clipped


def _summary(output: Path, planned: Plan, clipped: int) -> str:
    """What was written, in a line or two."""
    truth = planned.truth
    line = (
        f"{output}: {truth.duration:g} s, {len(truth.beeps)} beeps, {len(truth.alarms)} alarms; the truth is "
        f"in {output.with_suffix('.json').name} and {output.with_suffix('.tsv').name}"
    )
    return line + (f"\n{clipped} samples clipped: lower `level` or the SNR" if clipped else "")
