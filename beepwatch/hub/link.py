"""The link to the broker: publishes the board, listens for answers, and tells when it is down and up again.

Threads: paho's own for the network, and one here that reads the board and beats. Neither can hold the loop up.
"""

import logging
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from threading import Event, Lock, Thread
from typing import TYPE_CHECKING

from beepwatch.board.board import STALE, Board
from beepwatch.errors import InputError
from beepwatch.hub import words
from beepwatch.waking.commands import Command, Going

if TYPE_CHECKING:
    from paho.mqtt.client import Client, MQTTMessage
    from paho.mqtt.properties import Properties
    from paho.mqtt.reasoncodes import ReasonCode

LOG = logging.getLogger("beepwatch")
EACH = 5.0
"""s between two heartbeats: two may be lost before the 10 s are over in which a break is to be noticed."""
KEEP_ALIVE = 5
"""s without a packet after which one is sent; the broker gives up after one and a half (MQTT 5.0, 3.1.2.10)."""
SLOWEST = 10
"""s between two tries to connect, at most (judgement)."""
NOBODY = 0x10
"""Reason code "No matching subscribers" of a PUBACK (MQTT 5.0, 3.4.2.1)."""
VIA = "hub"


@dataclass(frozen=True, slots=True)
class Broker:
    """Where the broker is. Without TLS only on this computer itself."""

    host: str
    port: int
    topic: str = "beepwatch"
    user: str = ""
    password_file: Path | None = None
    tls: bool = True
    ca_file: Path | None = None
    """The authority of its certificate; None: those that the system knows."""


class Link:
    """One connection. say: a plain line for the screen, from any thread."""

    def __init__(
        self,
        broker: Broker,
        board: Board,
        command: Callable[[Command], None],
        say: Callable[[str], None],
        wall: Callable[[], datetime] = lambda: datetime.now(UTC),
    ) -> None:
        """Make it ready. Raises InputError for a password or a certificate file that cannot be read."""
        self._broker, self._board, self._command, self._say, self._wall = broker, board, command, say, wall
        self._client = _client(broker, self._topic("link"))
        self._client.on_connect = self._connected
        self._client.on_connect_fail = self._unreachable
        self._client.on_disconnect = self._disconnected
        self._client.on_message = self._message
        self._client.on_publish = self._published
        self._up = Event()
        self._ending = Event()
        self._acks: dict[int, int] = {}
        self._lock = Lock()
        self._thread = Thread(target=self._work, name="hub", daemon=True)
        self._told: bool | None = None

    @property
    def up(self) -> bool:
        """Whether the broker is connected."""
        return self._up.is_set()

    def start(self) -> None:
        """Connect, and again whenever it is lost; returns at once."""
        self._client.connect_async(self._broker.host, self._broker.port, keepalive=KEEP_ALIVE, clean_start=True)
        self._client.loop_start()
        self._thread.start()

    def publish(self, topic: words.Topic, payload: bytes, wait: float) -> str:
        """Send with QoS 1; "" once somebody took it within `wait` s, else why not. Blocks: not for the loop."""
        if not self._up.wait(wait):
            return "the hub cannot be reached"
        info = self._client.publish(self._topic(topic), payload, qos=1)
        until = time.monotonic() + wait
        while time.monotonic() < until:
            with self._lock:
                code = self._acks.pop(info.mid, None)
            if code is not None:
                return "" if code == 0 else _why(code)
            time.sleep(0.02)
        return "the hub did not take it"

    def close(self) -> None:
        """Say that this ends, and end."""
        self._ending.set()
        if self._up.is_set():
            info = self._client.publish(self._topic("link"), words.DOWN, qos=1, retain=True)
            try:
                info.wait_for_publish(1.0)
            except (RuntimeError, ValueError) as error:  # the link broke meanwhile: the last will says it
                LOG.info("the hub was not told of the end: %s", error)
        self._client.disconnect()
        self._client.loop_stop()

    def _topic(self, topic: words.Topic) -> str:
        return f"{self._broker.topic}/{topic}"

    def _work(self) -> None:
        """Publish each change of the board at once, and a heartbeat each few seconds."""
        number, count, last, next_beat = 0, 0, b"", time.monotonic()
        while not self._ending.is_set():
            number = self._board.wait(number, max(0.05, next_beat - time.monotonic())).number
            state, stuck = self._board.posted.state, self._board.age > STALE
            if not self._up.is_set():
                last = b""
                self._ending.wait(0.1)
                continue
            now = words.standing(state, stuck)
            if now != last:
                last = now
                self._client.publish(self._topic("state"), now, qos=1, retain=True)
                self._client.publish(self._topic("alarm"), words.most_urgent(state), qos=1, retain=True)
            if time.monotonic() >= next_beat:
                count += 1
                next_beat = time.monotonic() + EACH
                self._client.publish(self._topic("heartbeat"), words.beat(count, state, stuck, self._wall()), qos=1)

    def _connected(
        self, client: "Client", _data: object, _flags: object, reason: "ReasonCode", _more: "Properties | None"
    ) -> None:
        if reason.is_failure:
            self._tell(False, f"The hub refused beepwatch: {reason}. Look at user and password in the settings.")
            return
        client.subscribe(self._topic("going"), qos=1)
        client.publish(self._topic("link"), words.UP, qos=1, retain=True)
        self._up.set()
        self._tell(True, "The hub is connected.")

    def _disconnected(
        self, _client: "Client", _data: object, _flags: object, reason: "ReasonCode", _more: "Properties | None"
    ) -> None:
        self._up.clear()
        with self._lock:
            self._acks.clear()
        if not self._ending.is_set():
            self._tell(False, f"The hub is gone ({reason}). It cannot wake anybody until it is back; I go on trying.")

    def _unreachable(self, _client: "Client", _data: object) -> None:
        self._tell(False, "The hub cannot be reached, so it cannot wake anybody. I go on trying.")

    def _tell(self, up: bool, line: str) -> None:
        """Once for each change."""
        if self._told is not up:
            self._told = up
            self._say(line)

    def _message(self, _client: "Client", _data: object, message: "MQTTMessage") -> None:
        state = self._board.posted.state
        found = words.answered(bytes(message.payload), bool(message.retain), state, self._wall())
        if isinstance(found, int):
            self._command(Going(by="", via=VIA, alarm=found))
        else:
            self._say(f"An answer from the hub does not count: {found}.")

    def _published(self, _client: "Client", _data: object, mid: int, reason: "ReasonCode", _more: "Properties") -> None:
        with self._lock:
            self._acks[mid] = reason.value
            while len(self._acks) > 100:  # of messages that nobody waits for
                del self._acks[min(self._acks)]


def _client(broker: Broker, will: str) -> "Client":
    """A client of the broker that is not connected yet."""
    from paho.mqtt.client import Client, MQTTv5  # noqa: PLC0415 - only homes with a hub need it
    from paho.mqtt.enums import CallbackAPIVersion  # noqa: PLC0415

    client = Client(CallbackAPIVersion.VERSION2, protocol=MQTTv5)
    client.will_set(will, words.DOWN, qos=1, retain=True)
    client.reconnect_delay_set(1, SLOWEST)
    if broker.user:
        client.username_pw_set(broker.user, _password(broker.password_file))
    if broker.tls:
        try:
            client.tls_set(ca_certs=None if broker.ca_file is None else str(broker.ca_file))
        except OSError as error:
            raise InputError(f"hub.ca-file {broker.ca_file} cannot be used ({error}): give a PEM file") from error
    return client


def _password(path: Path | None) -> str | None:
    """The first line of the file. It is not in the settings: those are kept in the history."""
    if path is None:
        return None
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(f"hub.password-file {path} cannot be read ({error}): put the password into it") from error
    return text.partition("\n")[0]


def _why(code: int) -> str:
    """What a reason code of a PUBACK means for a family."""
    return "the hub has it, but nobody there listens" if code == NOBODY else f"the hub refused it (code {code:#x})"
