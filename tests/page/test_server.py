"""The server itself: TLS by openssl, the stream by a plain client, faults that stay its own."""

import contextlib
import json
import socket
import ssl
import subprocess
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from http.client import HTTPResponse, HTTPSConnection
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from beepwatch.errors import InputError
from beepwatch.page.entrance import EACH
from beepwatch.page.gate import COOKIE
from beepwatch.page.names import Place, place
from beepwatch.page.server import PageServer, urls
from beepwatch.page.stream import STREAMS
from beepwatch.settings.household import household
from beepwatch.watch import assembly
from tests.page.house import House, open_alarm


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    """The page, served."""
    made = House(tmp_path)
    made.page.start()
    yield made
    made.close()


def secure(house: House) -> ssl.SSLContext:
    """A client that believes the household's authority alone, and checks names."""
    return ssl.create_default_context(cafile=str(house.page.identity.authority))


@contextlib.contextmanager
def call(house: House, method: str, path: str, body: object = None, **headers: str) -> Iterator[HTTPResponse]:
    """One request over verified TLS."""
    line = HTTPSConnection("127.0.0.1", house.page.port, context=secure(house), timeout=15)
    try:
        text = None if body is None else json.dumps(body)
        line.request(method, path, text, {"content-type": "application/json", **headers})
        yield line.getresponse()
    finally:
        line.close()


def pair(house: House, name: str = "Anna") -> str:
    """Pair over the network; the Cookie header of that device."""
    with call(house, "POST", "/pair", {"code": house.code(), "name": name}) as answer:
        assert answer.status == 200
        return str(answer.headers["set-cookie"]).partition(";")[0]


def frames(answer: HTTPResponse) -> Iterator[tuple[str, Any]]:
    """Kind and content of each server-sent event."""
    kind = ""
    for raw in answer:
        text = raw.decode().rstrip("\n")
        if text.startswith("event: "):
            kind = text[7:]
        elif text.startswith("data: "):
            yield kind, json.loads(text[6:])


def first(answer: HTTPResponse, kind: str) -> Any:
    """The next event of this kind."""
    return next(content for found, content in frames(answer) if found == kind)


def s_client(house: House, *options: str) -> str:
    """What `openssl s_client` says of a connection."""
    done = subprocess.run(
        ["openssl", "s_client", "-connect", f"127.0.0.1:{house.page.port}", "-CAfile",
         str(house.page.identity.authority), *options],
        input="", capture_output=True, text=True, timeout=30, check=False,
    )  # fmt: skip
    return done.stdout + done.stderr


@pytest.mark.parametrize("name", ["127.0.0.1", "localhost"])
def test_openssl_verifies_the_server(house: House, name: str) -> None:
    """ASVS 9.1.1, 9.2.1: the chain and the name stand, by an independent client."""
    check = ("-verify_ip", name) if name[0].isdigit() else ("-verify_hostname", name)
    told = s_client(house, "-verify_return_error", *check)
    assert "Verification: OK" in told
    assert "Verify return code: 0 (ok)" in told
    assert "TLSv1.3" in told


def test_openssl_refuses_another_name(house: House) -> None:
    """The certificate is for this computer alone."""
    told = s_client(house, "-verify_return_error", "-verify_hostname", "bank.example")
    assert "hostname mismatch" in told.lower()


@pytest.mark.parametrize(
    ("option", "works"), [("-tls1_3", True), ("-tls1_2", True), ("-tls1_1", False), ("-tls1", False)]
)
def test_old_versions_of_tls_are_refused(house: House, option: str, works: bool) -> None:
    """ASVS 9.1.3: 1.2 and 1.3 alone; even where the client would stoop to the old ones."""
    told = s_client(house, option, "-cipher", "DEFAULT@SECLEVEL=0")
    assert ("Cipher is (NONE)" not in told and "Cipher    : 0000" not in told) == works


@pytest.mark.parametrize("cipher", ["NULL", "aNULL", "RC4", "3DES", "CBC"])
def test_weak_ciphers_are_refused(house: House, cipher: str) -> None:
    """ASVS 9.1.2, in TLS 1.2, where there are any."""
    told = s_client(house, "-tls1_2", "-cipher", f"{cipher}@SECLEVEL=0")
    assert "Cipher is (NONE)" in told or "no cipher match" in told or "no ciphers available" in told


def test_plain_http_gets_nothing(house: House) -> None:
    """The port speaks TLS alone: not even a redirection, which could be made to lead elsewhere."""
    with socket.create_connection(("127.0.0.1", house.page.port), timeout=10) as line:
        line.sendall(b"GET / HTTP/1.1\r\nHost: localhost\r\n\r\n")
        with contextlib.suppress(ConnectionError):
            assert not line.recv(1000).startswith(b"HTTP")


def test_the_stream_tells_who_you_are_what_stands_and_what_was(house: House) -> None:
    """Hello with the device's name, the night's events, then what stands now."""
    cookie = pair(house)
    with call(house, "GET", "/events", Cookie=cookie) as answer:
        told = frames(answer)
        first = [next(told) for _ in range(3)]
    assert [kind for kind, _ in first] == ["hello", "events", "now"]
    assert first[0][1]["you"] == "Anna"
    assert first[1][1] == [{"clock": "02:14", "text": "I listen."}]
    assert first[2][1]["hearing"] == "listening"
    assert first[2][1]["margin"] == 23


def test_a_frame_comes_each_second_without_news(house: House) -> None:
    """The heartbeat: the page alarms after five seconds without one."""
    with call(house, "GET", "/events", Cookie=pair(house)) as answer:
        told = frames(answer)
        moments: list[float] = []
        for kind, _ in told:
            if kind == "now":
                moments.append(time.monotonic())
            if len(moments) == 4:
                break
    assert max(b - a for a, b in pairwise(moments)) < 5


def test_a_loop_that_hangs_is_told_as_such(house: House) -> None:
    """The stream itself goes on, and says that nothing listens."""
    with call(house, "GET", "/events", Cookie=pair(house)) as answer:
        hearing = next(
            content for kind, content in frames(answer) if kind == "now" and content["hearing"] != "listening"
        )
    assert hearing["hearing"] == "stuck"


def test_an_answer_reaches_the_loop_and_comes_back_to_all(house: House) -> None:
    """Going, by the network, with a verified certificate; Ben's stream names Anna."""
    anna, ben = pair(house, "Anna"), pair(house, "Ben")
    house.post(alarms=(open_alarm(),))
    with call(house, "GET", "/events", Cookie=ben) as answer:
        first(answer, "now")
        with call(house, "POST", "/going", {"alarm": "r1:1"}, Cookie=anna) as done:
            assert done.status == 202
        going = next(c for k, c in frames(answer) if k == "now" and c["alarms"] and c["alarms"][0]["going"])
    assert going["alarms"][0]["going"] == "Anna"


def test_a_revoked_device_is_cut_off_in_mid_stream(house: House) -> None:
    """Within seconds, with a word why, and nothing after it."""
    cookie = pair(house)
    with call(house, "GET", "/events", Cookie=cookie) as answer:
        first(answer, "now")
        assert house.page.pairing.revoke(1, time.time())
        kinds = [kind for kind, _ in frames(answer)]
    assert kinds[-1] == "unpaired"


def test_one_device_cannot_pile_up_streams(house: House) -> None:
    """A phone that reconnects again and again leaves no more than a few behind; the newest goes on."""
    cookie = pair(house)
    with contextlib.ExitStack() as stack:
        answers = [stack.enter_context(call(house, "GET", "/events", Cookie=cookie)) for _ in range(STREAMS + 2)]
        first(answers[-1], "now")
        for old in answers[:2]:
            assert [kind for kind, _ in frames(old)][-1] == "now"  # it ends: the list is finite
        first(answers[-1], "now")


def test_a_pairing_is_told_at_the_computer(house: House) -> None:
    """Whoever sits there sees that somebody was let in."""
    pair(house, "Anna")
    assert house.said == ["Paired: Anna (phone, number 1)."]


def test_a_code_is_refused_after_use_by_the_network(house: House) -> None:
    """The same code a second time: 401 to a stranger, for the door is shut again."""
    code = house.code()
    for status in (200, 401):
        with call(house, "POST", "/pair", {"code": code, "name": "x"}) as answer:
            assert answer.status == status


def test_a_port_in_use_is_one_line(house: House, tmp_path: Path) -> None:
    """With another port to try."""
    with pytest.raises(InputError, match=f"--page :{house.page.port + 1}"):
        PageServer(Place("127.0.0.1", house.page.port), tmp_path, house.board, house.command)


def test_a_server_that_falls_is_started_again(house: House, monkeypatch: pytest.MonkeyPatch) -> None:
    """A fault of the page ends nothing: it is told, and a second later the page is there again."""
    cookie = pair(house)
    assert house.page._server is not None
    real = house.page._serve
    faults = iter([RuntimeError("a fault of the page")])

    async def serve() -> None:
        for fault in faults:
            raise fault
        await real()

    monkeypatch.setattr(house.page, "_serve", serve)
    house.page._server.should_exit = True
    for _ in range(200):
        if any("The page failed" in text for text in house.said):
            break
        time.sleep(0.05)
    assert "RuntimeError" in house.said[-1]
    deadline = time.monotonic() + 20
    while time.monotonic() < deadline:
        with contextlib.suppress(OSError), call(house, "GET", "/", Cookie=cookie) as answer:
            assert answer.status == 200
            return
        time.sleep(0.1)
    raise AssertionError("the page did not come back")


def test_a_changed_address_gets_a_certificate_where_it_may(house: House) -> None:
    """The page is also asked for by what the certificate does not hold: by Host, not by trust."""
    house.page.identity = replace(house.page.identity, outside=("192.168.7.9",))
    assert "192.168.7.9" in house.page.names()
    assert urls(house.page) == [f"https://127.0.0.1:{house.page.port}/"]


def test_a_flood_of_connections_takes_neither_files_nor_the_answer(house: House) -> None:
    """One address gets 40 at once and no more; a phone at another answers meanwhile; closed ones count off."""
    cookie = pair(house)
    house.post(alarms=(open_alarm(),))
    flood = [
        socket.create_connection(("127.0.0.1", house.page.port), 10, source_address=("127.0.0.2", 0)) for _ in range(60)
    ]
    for one in flood:
        one.settimeout(0.05)
    until(lambda: sum(shut(one) for one in flood) == 60 - EACH)
    with call(house, "POST", "/going", {"alarm": "r1:1"}, Cookie=cookie) as answer:
        assert answer.status == 202
    for one in flood:
        one.close()
    until(lambda: comes_in(house, "127.0.0.2"))


def until(true: Callable[[], bool]) -> None:
    """Wait for it, 20 s at most."""
    deadline = time.monotonic() + 20
    while not true():
        assert time.monotonic() < deadline
        time.sleep(0.05)


def comes_in(house: House, address: str) -> bool:
    """Whether a connection from this address may stay."""
    with socket.create_connection(("127.0.0.1", house.page.port), 10, source_address=(address, 0)) as fresh:
        fresh.settimeout(0.2)
        return not shut(fresh)


def shut(line: socket.socket) -> bool:
    """Whether the other end has closed it, within its time-out."""
    try:
        return line.recv(1) == b""
    except TimeoutError:
        return False
    except ConnectionError:
        return True


def test_it_listens_by_ipv6_where_that_is_asked_for(tmp_path: Path) -> None:
    """On loopback; the Host header in brackets is known."""
    made = House(tmp_path, host="::1")
    made.page.start()
    context = ssl.create_default_context(cafile=str(made.page.identity.authority))
    line = HTTPSConnection("::1", made.page.port, context=context, timeout=15)
    line.request("GET", "/")
    assert line.getresponse().status == 401
    line.close()
    made.close()


def test_a_forged_cookie_gets_nothing_by_the_network(house: House) -> None:
    """The whole way, TLS included."""
    cookie = pair(house)
    for forged in (cookie[:-2] + "xx", f"{COOKIE}=", f"{COOKIE}=' OR 1=1 --"):
        with call(house, "GET", "/events", Cookie=forged) as answer:
            assert answer.status == 401


def test_a_port_that_is_taken_is_told_before_the_night_is_opened(tmp_path: Path) -> None:
    """In one line, with another port to give; neither microphone nor history was touched."""
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        where = f"127.0.0.1:{other.getsockname()[1]}"
        with pytest.raises(InputError, match=r"cannot be opened at 127\.0\.0\.1 port .*Give another port"):
            assembly.prepare(
                None, "no such microphone", tmp_path / "data", tone=None, real_time=False, silent=True,
                home=household(tmp_path), page=place(where),
            )  # fmt: skip
