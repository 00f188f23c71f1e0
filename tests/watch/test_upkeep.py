"""What is looked after beside hearing: each thing that is wrong is reported, and nothing that is well."""

from pathlib import Path

import pytest

from beepwatch.events import Noise
from beepwatch.hearing.health import Health
from beepwatch.hearing.technical import Cause
from beepwatch.sources.soundserver import Whereabouts, default_sink, name_of, place_of
from beepwatch.watch.conditions import Conditions
from beepwatch.watch.power import Power
from beepwatch.watch.upkeep import NAME, Upkeep, World

MAINS = Power(battery=False, minutes=None)


def upkeep(
    folder: Path, *, battery: bool = False, free: float = 1e9, expected: tuple[float, float] | None = None
) -> Upkeep:
    world = World(lambda: Power(True, 42.0) if battery else MAINS, lambda _: free)
    return Upkeep(folder, "a microphone", expected, world=world)


def told(one: Upkeep, level: float, seconds: float, began: float = 0.0) -> dict[Cause, float]:
    """A room of this level for so long: which conditions were told, and when."""
    conditions, found = Conditions(), dict[Cause, float]()
    for at in range(0, round(seconds), 2):
        now = began + at
        one.noise(Noise(now, ((1000.0, level), (5000.0, level))))
        one.look(now, Health(now), conditions)
        found |= {word.condition.cause: now for word in conditions.look(now) if word.step == "told"}
    return found


def test_a_healthy_room_gives_no_word(tmp_path: Path) -> None:
    """On mains, with room on the disk and a good margin."""
    assert told(upkeep(tmp_path, expected=(2730.0, -40.0)), -60.0, 1200.0) == {}


def test_a_low_margin_is_told_after_five_minutes(tmp_path: Path) -> None:
    """Taught at -40 dBFS in a room of -26 dBFS: 5 dB to spare at -19 dB."""
    assert told(upkeep(tmp_path, expected=(2730.0, -40.0)), -26.0, 600.0) == {"margin-low": 300.0}


def test_untaught_a_louder_room_is_only_shown(tmp_path: Path) -> None:
    """Without a taught beep there is no margin, and no number."""
    one = upkeep(tmp_path)
    told(one, -60.0, 1200.0)
    assert told(one, -45.0, 600.0, 1200.0) == {"room-louder": 1500.0}


def test_a_hand_over_the_microphone_is_told_after_a_minute(tmp_path: Path) -> None:
    """A room that is known for hours, then 15 dB under its quietest."""
    one = upkeep(tmp_path)
    told(one, -60.0, 8.5 * 3600)
    assert told(one, -75.0, 120.0, 40_000.0) == {"gain-dropped": 40_060.0}


def test_how_loud_it_usually_is_goes_from_night_to_night(tmp_path: Path) -> None:
    """Kept for this microphone; another begins anew; a damaged file counts for nothing."""
    one = upkeep(tmp_path)
    told(one, -60.0, 8.5 * 3600)
    one.close()
    assert told(upkeep(tmp_path), -75.0, 120.0) == {"gain-dropped": 60.0}
    other = Upkeep(tmp_path, "another", world=World(lambda: MAINS, lambda _: 1e9))
    assert told(other, -75.0, 120.0) == {}
    (tmp_path / NAME).write_text("{")
    assert told(upkeep(tmp_path), -75.0, 120.0) == {}


def test_mains_lost_is_told_after_a_minute_with_the_minutes_left(tmp_path: Path) -> None:
    """As the battery tells them."""
    conditions = Conditions()
    one = upkeep(tmp_path, battery=True)
    words = []
    for now in range(0, 120):
        one.look(float(now), Health(0.0), conditions)
        words += [(word.condition.cause, word.detail) for word in conditions.look(float(now))]
    assert words == [("mains-lost", "about 42 min are left")]


def test_a_disk_that_is_nearly_full_is_named(tmp_path: Path) -> None:
    """Before the history fails; a folder that cannot be asked says nothing here."""
    one = upkeep(tmp_path, free=3e6)
    one.look(0.0, Health(0.0), Conditions())
    assert one.disk == "3 MB are free"

    def away(_: Path) -> float:
        raise OSError

    other = Upkeep(tmp_path, "a microphone", world=World(lambda: None, away))
    other.look(0.0, Health(0.0), Conditions())
    assert other.disk is None


RECORDINGS = (
    b'[{"index": 4, "source": 0, "properties": {"application.process.id": "77"}},'
    b' {"index": 9, "source": 2, "properties": {"application.process.id": "77"}},'
    b' {"index": 11, "source": 0, "properties": {"application.process.id": "78"}}]'
)


def answers(place: int = 2) -> dict[str, bytes]:
    return {
        "source-outputs": RECORDINGS.replace(b'"source": 2', b'"source": %d' % place),
        "sources": b'[{"index": 0, "name": "built-in"}, {"index": 2, "name": "usb"}]',
    }


def test_the_newest_stream_of_this_process_tells_its_microphone() -> None:
    """Other processes' streams, and older ones of ours, tell nothing."""
    assert place_of(77, lambda *words: answers()[words[-1]]) == (9, 2)
    assert name_of(2, lambda *words: answers()[words[-1]]) == "usb"
    assert place_of(79, lambda *words: answers()[words[-1]]) is None
    for told in (None, b"no JSON"):
        assert place_of(77, lambda *words: told) is None  # noqa: B023 - asked in this turn
        assert name_of(2, lambda *words: told) is None  # noqa: B023


def test_a_stream_that_is_moved_is_seen_and_seen_again_when_it_is_back() -> None:
    """Right is where it was at the first look; a server that says nothing changes nothing."""
    now = [1.0]
    replies: list[dict[str, bytes]] = [answers()]
    where = Whereabouts(77, lambda *words: replies[-1].get(words[-1]), lambda: now[0])
    where.look()
    assert (where.at, where.right) == (1.0, True)
    now[0] = 4.0
    replies.append(answers(0))
    where.look()
    assert (where.at, where.right, where.now) == (4.0, False, "built-in")
    now[0] = 7.0
    replies.append({})
    where.look()
    assert where.at == 4.0
    replies.append(answers())
    where.look()
    assert (where.at, where.right) == (7.0, True)


@pytest.mark.parametrize(("state", "silent"), [('"mute": true', True), ('"mute": false', False)])
def test_a_sink_that_is_mute_is_seen(state: str, silent: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    """Muted, or every channel at zero."""
    monkeypatch.setenv("PULSE_SINK", "bedside")
    told = f'[{{"name": "bedside", {state}, "volume": {{"mono": {{"value": 65536}}}}}}]'.encode()
    sink = default_sink(lambda *words: told)
    assert sink is not None
    assert sink.silent is silent
    low = default_sink(lambda *words: told.replace(b"65536", b"0"))
    assert low is not None
    assert low.silent
