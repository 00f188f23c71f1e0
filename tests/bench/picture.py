"""The benchmark's curves as one picture: recall beside the ideal, and edge errors beside their bound."""

from pathlib import Path

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from beepwatch.hearing.margin import ideal_recall
from tests.bench.counting import Row, bounds

COLOURS = {0.3: "#b2182b", 1.2: "#2166ac", 10.0: "#1b7837", 20.0: "#762a83"}


def draw(rows: list[Row], path: Path) -> None:
    """Write the picture of the rows of section `curve`."""
    points = [row for row in rows if row.section == "curve"]
    mpl.use("agg")
    figure = Figure(figsize=(9, 3.6), layout="constrained")
    left, right = figure.subplots(1, 2)
    for length, colour in COLOURS.items():
        some = sorted((row for row in points if row.figures["length_s"] == length), key=lambda r: r.figures["snr_db"])
        if some:
            _recall(left, some, length, colour)
            _edges(right, some, length, colour)
    left.set(xlabel="SNR in 0-8 kHz, dB", ylabel="found, %", title="Recall in white noise; dashed: ideal listener")
    right.set(xlabel="SNR in 0-8 kHz, dB", ylabel="median onset error, ms", yscale="log")
    right.set_title("Edges; dotted: Cramer-Rao for a 5 ms ramp")
    for axes in (left, right):
        axes.grid(alpha=0.3)
        axes.legend(fontsize=8)
    figure.savefig(path, dpi=100)


def _recall(axes: Axes, rows: list[Row], length: float, colour: str) -> None:
    snr = [row.figures["snr_db"] for row in rows]
    share = np.array([row.found / row.count for row in rows])
    low, high = np.array([bounds(row.found, row.count) for row in rows]).T
    error = np.clip(np.stack([share - low, high - share]), 0, None) * 100
    axes.errorbar(snr, share * 100, error, color=colour, marker="o", ms=3, lw=1.2, capsize=2, label=f"{length:g} s")
    axes.plot(snr, [100 * row.heard / row.count for row in rows], color=colour, lw=0.8, ls=":")
    fine = np.linspace(-38, 0, 300)
    axes.plot(fine, 100 * ideal_recall(fine, length), color=colour, lw=1, ls="--")
    axes.set_xlim(-38, -8)


def _edges(axes: Axes, rows: list[Row], length: float, colour: str) -> None:
    told = [row for row in rows if "onset_ms_median" in row.figures and row.found > 0.5 * row.count]
    snr = [row.figures["snr_db"] for row in told]
    axes.plot(
        snr, [row.figures["onset_ms_median"] for row in told], color=colour, marker="o", ms=3, label=f"{length:g} s"
    )
    axes.plot(snr, [row.figures["onset_bound_ms"] for row in told], color=colour, ls=":")
