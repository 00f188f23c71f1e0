"""The two connections to the listener: one that streams how it stands, and one for each word from here."""

import http.client
import json
import logging
import ssl
from collections.abc import Callable, Iterator
from threading import Event, Thread

import msgspec

from beepwatch.bedside.paired import COOKIE, Listener, vouched
from beepwatch.bedside.standing import Frame

LOG = logging.getLogger("beepwatch")
PATIENCE = 4.0
"""s without a byte after which the stream is opened anew (one comes each second)."""
RETRY = 1.0
"""s between two tries."""


class Wire:
    """The listener as it is reached from here."""

    def __init__(self, listener: Listener) -> None:
        self._listener = listener
        self._put: Callable[[Frame | str], None] = lambda news: None
        self._context: ssl.SSLContext = vouched(listener.certificate)
        self._ending = Event()
        self._told = ""
        self._thread = Thread(target=self._work, name="wire", daemon=True)

    def start(self, put: Callable[[Frame | str], None]) -> None:
        """Connect, and again whenever it breaks; returns at once.

        put: called from a thread of its own with each frame, and with a plain word for each new fault.
        """
        self._put = put
        self._thread.start()

    def close(self) -> None:
        """End; the thread is a daemon."""
        self._ending.set()

    def post(self, path: str, body: dict[str, object]) -> int:
        """Send one word; the status, or 0 where it did not arrive. Waits: not for a loop that must go on."""
        connection = self._connection()
        try:
            connection.request("POST", path, json.dumps(body), {**self._cookie, "content-type": "application/json"})
            answer = connection.getresponse()
            answer.read()
        except (OSError, http.client.HTTPException) as error:
            LOG.info("%s did not arrive: %s", path, error)
            return 0
        finally:
            connection.close()
        return answer.status

    @property
    def _cookie(self) -> dict[str, str]:
        return {"cookie": f"{COOKIE}={self._listener.token}"}

    def _connection(self) -> http.client.HTTPSConnection:
        one = self._listener
        return http.client.HTTPSConnection(one.host, one.port, timeout=PATIENCE, context=self._context)

    def _work(self) -> None:
        while not self._ending.is_set():
            try:
                self._stream()
            except (OSError, http.client.HTTPException, msgspec.DecodeError) as error:
                self._tell(f"the link broke: {error}")
            self._ending.wait(RETRY)

    def _stream(self) -> None:
        """Read until it ends. Raises OSError, HTTPException, DecodeError."""
        connection = self._connection()
        try:
            connection.request("GET", "/events", headers=self._cookie)
            answer = connection.getresponse()
            if answer.status != 200:
                shut = "this computer is not paired any more" if answer.status == 401 else f"status {answer.status}"
                self._tell(f"the other computer refuses: {shut}")
                return
            for kind, data in events(answer):
                if self._ending.is_set():
                    return
                if kind == "now":
                    self._told = ""
                    self._put(msgspec.json.decode(data, type=Frame))
                elif kind == "unpaired":
                    self._tell("this computer is not paired any more")
        finally:
            connection.close()

    def _tell(self, text: str) -> None:
        if text != self._told:
            self._told = text
            self._put(text)


def events(answer: http.client.HTTPResponse) -> Iterator[tuple[str, bytes]]:
    """(event, data) of each server-sent event (HTML Living Standard, 9.2), one line of data each."""
    kind = ""
    while line := answer.readline():
        name, _, value = line.rstrip(b"\n").partition(b": ")
        if name == b"event":
            kind = value.decode()
        elif name == b"data":
            yield kind, value
