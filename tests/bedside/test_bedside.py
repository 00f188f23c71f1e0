"""A real listener's page on loopback, a real wire, a speaker in the test's hand."""

import time
from collections.abc import Callable, Iterator
from pathlib import Path
from queue import SimpleQueue
from threading import Thread
from typing import TypeVar

import pytest

from beepwatch.bedside.loop import Bedside, Parts, Report
from beepwatch.bedside.paired import FILE, Listener, keep, kept, pair, parsed
from beepwatch.bedside.wire import Wire
from beepwatch.channels.rounds import Round
from beepwatch.channels.speaker import Failed, Started
from beepwatch.channels.way import Alert, Tried
from beepwatch.cli import main
from beepwatch.errors import InputError
from beepwatch.page.pairing import link
from beepwatch.page.way import BedsideWay
from beepwatch.waking.commands import Going
from beepwatch.waking.messages import Messages
from tests.page.house import House, open_alarm

T = TypeVar("T")


class Hand:
    """A speaker that says that it sounds, or that it cannot."""

    def __init__(self, reports: "SimpleQueue[Report]") -> None:
        self.rounds: list[Round | None] = []
        self.reports, self.works = reports, True

    def play(self, round_: Round) -> None:
        self.rounds.append(round_)
        self.reports.put(Started(0.0, round_.numbers) if self.works else Failed(0.0, "no speaker"))

    def stop(self) -> None:
        self.rounds.append(None)

    def close(self, seconds: float = 0.0) -> bool:
        return True


class Beside:
    """A bedside at work."""

    def __init__(self, listener: Listener) -> None:
        reports: SimpleQueue[Report] = SimpleQueue()
        self.speaker, self.said, self.wire = Hand(reports), list[str](), Wire(listener)
        parts = Parts(self.speaker, None, self.wire, reports, self.said.append, Messages("Anna", "Sam"))
        self.bedside = Bedside(parts)
        self.wire.start(self.bedside.put)
        self._thread = Thread(target=self.bedside.run, daemon=True)
        self._thread.start()

    @property
    def sounds(self) -> Round | None:
        return self.speaker.rounds[-1] if self.speaker.rounds else None

    def close(self) -> None:
        self.bedside.stop()
        self._thread.join(10)
        self.wire.close()


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    made = House(tmp_path / "listener")
    made.page.start()
    yield made
    made.close()


def paired(house: House) -> Listener:
    text = link("127.0.0.1", house.page.port, house.code(), house.page.identity.fingerprint)
    return until(lambda: _try(lambda: pair(parsed(text), "Anna")))


def _try(do: "Callable[[], Listener]") -> Listener | None:
    try:
        return do()
    except InputError as error:
        if "cannot be reached" in str(error):  # the server is not up yet
            return None
        raise


@pytest.fixture
def beside(house: House) -> Iterator[Beside]:
    made = Beside(paired(house))
    yield made
    made.close()


def until(true: Callable[[], T | None], seconds: float = 20.0, each: Callable[[], object] = lambda: None) -> T:
    """What `true` gives once it gives something."""
    end = time.monotonic() + seconds
    while not (found := true()):
        assert time.monotonic() < end, "it did not happen"
        each()
        time.sleep(0.05)
    return found


def test_an_alarm_crosses_and_is_answered_by_a_key(house: House, beside: Beside) -> None:
    """Raised there, it sounds here with its words; a key here is "I am going" there, and quiet here."""
    until(lambda: any("linked" in line for line in beside.said), each=house.post)
    house.post(alarms=(open_alarm(),))
    until(lambda: beside.sounds is not None)
    assert beside.sounds is not None
    assert beside.sounds.priority == "high"
    assert any("Go to Sam now" in line for line in beside.sounds.lines)
    beside.bedside.put(b" ")
    until(lambda: bool(house.commands))
    assert house.commands == [Going("Anna", "page", 1)]
    until(lambda: beside.sounds is None)


def test_the_ladder_learns_that_it_sounds(house: House, beside: Beside) -> None:
    """The way counts as done once the bedside says that its speaker works; a phone's word would not do."""
    tries: SimpleQueue[Tried] = SimpleQueue()
    way = BedsideWay(house.board, house.page.watchers, house.page.pairing, tries.put)
    until(house.page.watchers.present, each=house.post)
    house.post(alarms=(open_alarm(),))
    way.alert(Alert((1,), "lead-disconnect", "high", "", (), False, "Anna"))
    tried = tries.get(timeout=15)
    assert (tried.way, tried.ok) == ("bedside", True)
    assert "Anna" in tried.detail


def test_the_ladder_learns_that_it_does_not_sound(house: House, beside: Beside) -> None:
    """A speaker that fails there is no waking: the next step begins at once."""
    beside.speaker.works = False
    tries: SimpleQueue[Tried] = SimpleQueue()
    way = BedsideWay(house.board, house.page.watchers, house.page.pairing, tries.put)
    until(house.page.watchers.present, each=house.post)
    house.post(alarms=(open_alarm(),))
    way.alert(Alert((1,), "lead-disconnect", "high", "", (), False, "Anna"))
    tried = tries.get(timeout=20)
    assert not tried.ok
    assert any("no speaker" in line for line in beside.said)


def test_the_ladder_does_not_wait_for_one_that_is_not_there(house: House) -> None:
    """A bedside that was not started is a failed step at once."""
    paired(house)
    tries: SimpleQueue[Tried] = SimpleQueue()
    way = BedsideWay(house.board, house.page.watchers, house.page.pairing, tries.put)
    begun = time.monotonic()
    way.alert(Alert((1,), "lead-disconnect", "high", "", (), False, "Anna"))
    assert not tries.get(timeout=8).ok
    assert time.monotonic() - begun < 2


def test_a_listener_that_falls_silent_sounds_here(house: House, beside: Beside) -> None:
    """The page's server is gone: within 10 s it sounds here that nobody listens."""
    until(lambda: any("linked" in line for line in beside.said), each=house.post)
    house.close()
    begun = time.monotonic()
    until(lambda: beside.sounds is not None)
    assert time.monotonic() - begun < 10
    assert any("NOT LISTENING" in line for line in beside.said)


def test_a_loop_that_hangs_sounds_here(house: House, beside: Beside) -> None:
    """The server lives, but the loop puts nothing up: nobody listens."""
    until(lambda: any("linked" in line for line in beside.said), each=house.post)
    begun = time.monotonic()
    until(lambda: beside.sounds is not None)
    assert time.monotonic() - begun < 10


def test_a_bedside_that_falls_silent_is_missed_there(house: House) -> None:
    """Cut off, it is missed 6 s after its last word; ended by a person, it is not."""
    one = Beside(paired(house))
    until(lambda: any("linked" in line for line in one.said), each=house.post)
    assert house.page.watchers.missing() is None
    until(lambda: house.page.beside)
    one.wire.post = lambda path, body: 0  # type: ignore[method-assign]  # its words are lost
    begun = time.monotonic()
    until(lambda: house.page.watchers.missing() == "Anna", each=house.post)
    assert time.monotonic() - begun < 10
    one.close()
    other = Beside(paired(house))
    until(lambda: any("linked" in line for line in other.said), each=house.post)
    other.close()
    house.page.watchers.left(1)
    time.sleep(7)
    assert house.page.watchers.missing() is None


def test_a_link_with_another_fingerprint_is_refused(house: House) -> None:
    """Somebody in between shows another certificate: nothing is sent to it, not even the code."""
    paired(house)
    text = link("127.0.0.1", house.page.port, house.code(), "0" * 64)
    with pytest.raises(InputError, match="another computer answers"):
        pair(parsed(text), "Anna")
    assert house.page.pairing.open(time.time())


def test_a_used_code_does_not_hold(house: House) -> None:
    """One code, one device."""
    listener = paired(house)
    text = link("127.0.0.1", house.page.port, "A" * 16, house.page.identity.fingerprint)
    with pytest.raises(InputError, match="does not hold"):
        pair(parsed(text), "Anna")
    assert listener.name == "Anna"


def test_one_that_is_shut_out_says_so_and_sounds(house: House, beside: Beside) -> None:
    """Revoked there, it is told here, and that nobody listens for this room any more."""
    until(lambda: any("linked" in line for line in beside.said), each=house.post)
    house.page.pairing.revoke(1, time.time())
    until(lambda: any("not paired any more" in line for line in beside.said), each=house.post)
    until(lambda: beside.sounds is not None, each=house.post)


def test_the_pairing_is_kept_for_its_owner_alone(tmp_path: Path) -> None:
    """The token's file is 0600 and comes back as it was."""
    one = Listener("host", 1, "token", "pem", "Anna")
    keep(tmp_path, one)
    assert kept(tmp_path) == one
    assert (tmp_path / FILE).stat().st_mode & 0o077 == 0


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ([], "not paired"),
        (["https://x/pair"], "no pairing link"),
        (["https://127.0.0.1:9/pair#" + "A" * 16 + "~" + "0" * 64], "cannot be reached"),
    ],
)
def test_bad_input_is_one_line(words: list[str], told: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Not paired, no link, nobody there: exit 2 and what to do."""
    assert main(["bedside", *words, "--data", str(tmp_path), "--config", str(tmp_path)]) == 2
    error = capsys.readouterr().err
    assert told in error
    assert error.count("\n") == 1


def test_a_broken_pairing_file_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A file that is no pairing: one line, pair anew."""
    (tmp_path / FILE).write_text("{")
    assert main(["bedside", "--data", str(tmp_path), "--config", str(tmp_path)]) == 2
    assert "pair this computer anew" in capsys.readouterr().err
