"""What was found, in words and as a small plan of places in plain characters. Pure."""

from beepwatch.bedroom.bands import Floor
from beepwatch.bedroom.findings import Finding
from beepwatch.bedroom.places import LITTLE, MOVE
from beepwatch.bedroom.results import Kept, Place

BAR = 2.0
"""dB a mark."""
LONGEST = 15
OUTSIDE = ("hall", "door", "landing", "kitchen", "bath", "next room", "other room", "stairs")
"""Words of places beyond the wall."""
ADVICE = "A margin is for one beep in one spot. Move the phone by a hand's width after each beep."


def margin_words(place: Place) -> str:
    """As "23 dB to spare", "3 dB, move the microphone", "unknown" or "not heard, move the microphone"."""
    if place.margin is None:
        return "unknown" if place.phone is not None else "not heard, move the microphone"
    spare = round(place.margin.spare)
    if spare < 0:
        return f"{-spare} dB too faint, move the microphone"
    if spare < MOVE:
        return f"{spare} dB, move the microphone"
    return f"{spare} dB to spare" if spare >= LITTLE else f"{spare} dB, little to spare"


def place_line(place: Place) -> str:
    """One sentence: "Bed: 23 dB to spare (within 3 dB)."."""
    within = f" (give or take {place.margin.error:.0f} dB)" if place.margin is not None else ""
    return f"{_capital(place.name)}: {margin_words(place)}{within}."


def finding_lines(findings: tuple[Finding, ...]) -> list[str]:
    """Each finding and what to do, or one line that nothing was found."""
    if not findings:
        return ["Nothing was found that would spoil the listening."]
    told: list[str] = []
    for each in findings:
        told += [f"{'Note' if each.weight == 'note' else 'FOUND'}: {each.says}", f"  Do: {each.do}"]
    return told


def drawn(places: tuple[Place, ...]) -> list[str]:
    """The plan: the microphone on top, places in its room below it, places beyond the door under the wall."""
    inside = [place for place in places if not _outside(place.name)]
    beyond = [place for place in places if _outside(place.name)]
    wide = max([len(place.name) for place in places] + [12])
    rows = [_row(place, wide) for place in inside]
    width = max(len(row) for row in [*rows, *(_row(place, wide) for place in beyond), ""]) + 1
    plan = [f"+{'-' * width}+", f"|{' (M) microphone'.ljust(width)}|", *(f"|{row.ljust(width)}|" for row in rows)]
    return [*plan, f"+{' door '.center(width, '-')}+", *(f" {_row(place, wide)}" for place in beyond)]


def shown(kept: Kept) -> list[str]:
    """All that is kept, for `check --show`."""
    if kept == Kept():
        return ["Nothing has been checked yet. Run: beepwatch check"]
    lines = [f"Microphone: {kept.microphone or 'not named'}. Tone: {_tone(kept)}."]
    if kept.quiet is not None:
        lines += [f"\nThe room, {kept.quiet.at:%d %B %Y, %H:%M}:", *floor_lines(kept.quiet.room.floor)]
        lines += finding_lines(kept.quiet.room.findings)
    if kept.tested is not None:
        lines += [f"\nThe steady tone, played by the {kept.tested.by}, {kept.tested.at:%d %B %Y, %H:%M}:"]
        lines += finding_lines(kept.tested.findings)
    if kept.rings is not None:
        lines += [f"\nThe echo, {kept.rings.at:%d %B %Y, %H:%M}: {ring_words(kept)}"]
    if kept.places:
        lines += ["\nHow much weaker the beep could be, and 99 in 100 such would still be found:"]
        lines += drawn(kept.places)
        lines += [f"{place.at:%d %B %Y, %H:%M}  {place_line(place)}" for place in kept.places]
        lines += match_words(kept)
    return lines


def match_words(kept: Kept) -> list[str]:
    """How good the match between phone and device is, or why there is none."""
    if kept.beside is None:
        return ["Margins are unknown: the phone was not matched. Run: beepwatch check --step match"]
    if kept.beside.match is None:
        return ["Margins are unknown: no beep is taught here. Run: beepwatch teach, then check --step match"]
    return [f"The phone was matched to the device within {kept.beside.match.error:.1f} dB, {kept.beside.at:%d %B %Y}."]


def ring_words(kept: Kept) -> str:
    """T60 by octave."""
    if kept.rings is None or not kept.rings.decays:
        return "could not be read. Make the room quiet and the speaker louder."
    return ", ".join(f"{hertz} Hz {each.seconds:.2f} s" for hertz, each in sorted(kept.rings.decays.items())) + "."


def floor_lines(floor: Floor) -> list[str]:
    """The noise, in one line."""
    bands = ", ".join(f"{high:.0f} Hz {level:.0f}" for _, high, level in floor.bands)
    return [f"Noise: {floor.weighted:.0f} dBFS with A-weighting. By octave, up to: {bands}."]


def _tone(kept: Kept) -> str:
    return "unknown" if kept.tone is None else f"{kept.tone:.0f} Hz"


def _row(place: Place, wide: int) -> str:
    spare = 0.0 if place.margin is None else place.margin.spare
    marks = "=" * max(0, min(LONGEST, round(spare / BAR)))
    return f"  o  {_capital(place.name).ljust(wide)}  {margin_words(place)}{'  ' if marks else ''}{marks}"


def _outside(name: str) -> bool:
    return any(word in name.lower() for word in OUTSIDE)


def _capital(name: str) -> str:
    return name[:1].upper() + name[1:]
