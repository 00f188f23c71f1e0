"""Small pictures in characters: a rhythm, a few levels, a live bar. Pure."""

from collections.abc import Sequence

BARS = " ▁▂▃▄▅▆▇█"
PLAIN = " .:-=+*%#"
"""The same for a terminal that knows only ASCII."""
WIDTH = 60
RANGE = 40.0
"""dB from an empty bar to a full one."""


def pens(encoding: str | None) -> str:
    """The characters that an output of this encoding can show, from nothing to full."""
    try:
        BARS.encode(encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return PLAIN
    return BARS


def rhythm(beeps: Sequence[tuple[float, float]], pen: str = BARS, width: int = WIDTH) -> str:
    """Beeps (onset, length in s, by onset) on one line of time, from just before the first to just after the last."""
    first, last = beeps[0][0], max(onset + length for onset, length in beeps)
    span = max(last - first, 0.1) * 1.04
    begin, step = first - 0.02 * span, span / width
    line = ""
    for place in range(width):
        a, b = begin + place * step, begin + (place + 1) * step
        covered = sum(max(0.0, min(b, onset + length) - max(a, onset)) for onset, length in beeps)
        line += pen[-1] if covered > 0.5 * step else pen[1]
    return line


def bar(level: float, top: float = 0.0, pen: str = BARS, *, span: float = RANGE, width: int = 20) -> str:
    """A bar of `width` for a level in dB: full at `top`, empty `span` dB below it."""
    eighths = round(max(0.0, min(1.0, (level - top + span) / span)) * width * 8)
    whole, rest = divmod(eighths, 8)
    flat = pen[-1] * whole
    if whole < width and rest >= 4:  # half a cell or more shows as a smaller step
        flat += pen[4]
    return flat.ljust(width)


def trace(levels: Sequence[float], low: float, high: float, pen: str = BARS) -> str:
    """Levels in dB as one character each, `low` and below as the lowest."""
    steps = len(pen) - 2
    return "".join(pen[1 + round(max(0.0, min(1.0, (level - low) / (high - low))) * steps)] for level in levels)
