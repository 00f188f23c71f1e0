"""The whole way: a sound in the room, a call at the hub, an answer from the hub, quiet at the bedside."""

import json
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from tests.hub.broker import Mosquitto
from tests.live.listening import Listening
from tests.live.room import Room

pytestmark = pytest.mark.live


@pytest.fixture
def mosquitto(tmp_path: Path) -> Iterator[Mosquitto]:
    folder = tmp_path / "broker"
    folder.mkdir()
    made = Mosquitto(folder)
    yield made
    made.stop()


def test_a_hub_is_called_and_answers(
    room: Room, listen: Callable[..., Listening], hiss: Path, lead: Path, *, mosquitto: Mosquitto, tmp_path: Path
) -> None:
    """The ladder's step `hub` reaches a real broker's subscriber; the answer from there ends the wake sound."""
    config = tmp_path / "config"
    config.mkdir()
    (config / "settings.toml").write_text(
        f'[names]\nperson = "Sam"\ncaregiver = "Anna"\n[hub]\nhost = "127.0.0.1"\nport = {mosquitto.port}\ntls = "no"\n'
        '[[ladder]]\nafter = 0\nby = ["speaker", "hub"]\n'
    )
    call = mosquitto.subscribe("beepwatch/call", 1, 90)
    room.play(hiss)
    watch = listen("--config", str(config))
    watch.expect("The hub is connected", 20)
    room.play(lead)
    out, _ = call.communicate(timeout=90)
    told = json.loads(out.split(" ", 1)[1])
    assert told["pattern"] == "lead-disconnect"
    assert "Sam" not in out
    assert "Anna" not in out
    mosquitto.publish("beepwatch/going", json.dumps({"alarm": told["alarm"], "at": datetime.now(UTC).isoformat()}))
    watch.expect("Answered: somebody is going", 20)
    assert watch.end() == 0
