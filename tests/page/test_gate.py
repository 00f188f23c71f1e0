"""Who is let in: every route, every kind of stranger; headers and cookies against OWASP ASVS 4.0.3, each item named."""

import logging
from dataclasses import replace
from pathlib import Path

import pytest
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from beepwatch.page.app import View
from beepwatch.page.gate import BODY, COOKIE, HEADERS, OPEN, UNPAIRED, cookie_of, host_of
from beepwatch.page.limits import BURST, Buckets
from beepwatch.page.pairing import FILE, UNUSED
from beepwatch.views.routes import views
from beepwatch.waking.commands import Changed, Command, Found, Going, Pause, Resume
from tests.page.door import JSON, Door
from tests.page.house import REST, open_alarm
from tests.views.shelf import book, shelf

BODIES: dict[str, object] = {
    "/going": {"alarm": "r1:1"},
    "/pause": {"minutes": 30, "purpose": "bath"},
    "/found": {"alarm": "r1:1", "what": "cable"},
    "/seen": {"alarms": ["r1:1"], "visible": True, "sounding": True},
    "/pair": {"code": "ABCD", "name": "x"},
    "/alarm/1/note": {"what": "cable", "words": "the plug"},
}
PLACES = {"{day}": "2026-03-09", "{number:int}": "1", "{clip:int}": "1"}
"""What stands in the paths of the views."""


def with_views(folder: Path) -> Door:
    """A door with tonight, week, month and the evidence of alarms behind it."""
    told: list[Command] = []
    return Door(folder, views=views(book(folder), told.append), told=told)


def places(door: Door) -> list[tuple[str, str]]:
    """Every route, with something in the place of its variables."""
    found = []
    for method, path in door.routes():
        for variable, value in PLACES.items():
            path = path.replace(variable, value)  # noqa: PLW2901
        assert "{" not in path
        found.append((method, path))
    return found


def stranger(door: Door, kind: str) -> str:
    """A token that must not open."""
    if kind == "none":
        return ""
    token = door.pair()
    if kind == "forged":
        return token[::-1]
    if kind == "revoked":
        assert door.pairing.revoke(door.pairing.devices()[-1].number, door.now)
    if kind == "expired":
        door.now += UNUSED + 1
    return token


@pytest.mark.parametrize("kind", ["none", "forged", "revoked", "expired"])
def test_every_route_refuses_every_stranger(tmp_path: Path, kind: str) -> None:
    """401, the same one sentence everywhere, no data, nothing done, no cookie; also for paths that there are not."""
    shelf(tmp_path)
    door = with_views(tmp_path)
    token = stranger(door, kind)
    door.show(replace(REST, alarms=(open_alarm(),)))
    routes = [*places(door), ("GET", "/nothing"), ("DELETE", "/"), ("OPTIONS", "/going")]
    assert {path for _, path in routes} >= {"/month", "/week/2026-03-09", "/alarm/1", "/alarm/1/clip/1", *BODIES}
    for method, path in routes:
        door.ticks += 60  # the rate limit is another test's
        headers = door.cookie(token) if kind != "none" else {}
        answer = door.client.request(method, path, json=BODIES.get(path), headers=headers | JSON)
        assert answer.status_code == 401, (method, path)
        assert answer.text == ("" if method == "HEAD" else UNPAIRED)
        assert "set-cookie" not in answer.headers
    assert door.commands == []
    assert door.watchers.of("r1:1") == []


def test_a_stranger_gets_no_more_than_pairing_while_a_code_waits(tmp_path: Path) -> None:
    """The open paths hold no data; all others are refused still; five minutes later the open ones are too."""
    door = with_views(tmp_path)
    door.pairing.new_code(door.now)
    for method, path in places(door):
        door.ticks += 60
        answer = door.client.request(method, path, json=BODIES.get(path), headers=JSON)
        assert (answer.status_code != 401) == (path in OPEN), (method, path)
        assert "Sam" not in answer.text
    door.now += 300
    assert {door.client.get(path).status_code for path in OPEN} == {401}


@pytest.mark.parametrize("peer", ["8.8.8.8", "2001:db8::9", "100.64.0.1"])
def test_who_is_not_in_the_home_network_is_refused(tmp_path: Path, peer: str) -> None:
    """Even with a good cookie, and while a code waits."""
    door = Door(tmp_path)
    token = door.pair()
    door.pairing.new_code(door.now)
    assert {door.at(peer).get(path, headers=door.cookie(token)).status_code for path in ("/", "/pair")} == {403}


@pytest.mark.parametrize("host", ["evil.example", "evil.example:8443", "nas.local.evil.example", "10.0.0.1"])
def test_another_host_name_is_refused(tmp_path: Path, host: str) -> None:
    """A foreign name that was made to point here (DNS rebinding) gets nothing, with a cookie or without."""
    door = Door(tmp_path)
    token = door.pair()
    assert door.at("192.168.7.30", host).get("/", headers=door.cookie(token)).status_code == 421


@pytest.mark.parametrize(
    "more",
    [
        {"origin": "https://evil.example"},
        {"origin": "null"},
        {"origin": "http://nas.local:8443"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
        {"content-type": "text/plain"},
        {"content-type": "application/x-www-form-urlencoded"},
    ],
)
def test_other_sites_cannot_answer_with_a_phones_cookie(tmp_path: Path, more: dict[str, str]) -> None:
    """ASVS 13.2.3: forged cross-site requests are refused, besides SameSite=Strict."""
    door = Door(tmp_path)
    door.show(replace(REST, alarms=(open_alarm(),)))
    assert door.send("/going", BODIES["/going"], door.pair(), more) == 403
    assert door.commands == []


def test_a_paired_phone_answers_pauses_and_tells(tmp_path: Path) -> None:
    """Each word becomes the loop's command, with the device's own name, whatever the body says."""
    door = Door(tmp_path)
    door.show(replace(REST, alarms=(open_alarm(),)))
    token = door.pair("Anna")
    statuses = [
        door.send(path, BODIES.get(path, {}), token) for path in ("/going", "/pause", "/resume", "/found", "/changed")
    ]
    assert statuses == [202] * 5
    assert door.commands == [
        Going("Anna", "page", 1), Pause(1800.0, "bath", "Anna", "page"), Resume("Anna", "page"),
        Found(1, "cable", "Anna", "page"), Changed("Anna", "page"),
    ]  # fmt: skip
    assert door.send("/seen", BODIES["/seen"], token) == 200
    assert [one.device for one in door.watchers.of("r1:1")] == ["Anna"]


@pytest.mark.parametrize("alarm", ["r1:2", "r0:1", "1", "r1:", "r1:x", "r1:1;", "r1:99999999999999999999", ""])
def test_an_answer_must_name_an_open_alarm_of_this_run(tmp_path: Path, alarm: str) -> None:
    """An old screen after a restart must not answer a new alarm: 409, and nothing is done."""
    door = Door(tmp_path)
    door.show(replace(REST, alarms=(open_alarm(),)))
    assert door.send("/going", {"alarm": alarm}, door.pair()) == 409
    assert door.commands == []


@pytest.mark.parametrize(
    ("path", "body"),
    [
        ("/going", {}), ("/going", {"alarm": 1}), ("/going", {"alarm": "r1:1", "by": "Ben"}), ("/going", []),
        ("/pause", {"minutes": 0, "purpose": "bath"}), ("/pause", {"minutes": 241, "purpose": "bath"}),
        ("/pause", {"minutes": 30, "purpose": "sleep"}), ("/found", {"alarm": "r1:1", "what": "?"}),
        ("/seen", {"alarms": ["r1:1"] * 21, "visible": True, "sounding": True}),
    ],
)  # fmt: skip
def test_what_is_not_understood_does_nothing(tmp_path: Path, path: str, body: object) -> None:
    """400, in words of ours (ASVS 5.1.3: only what is expected is taken)."""
    door = Door(tmp_path)
    assert door.send(path, body, door.pair()) == 400
    assert door.commands == []


def test_a_flood_of_strangers_does_not_shut_out_a_paired_answer(tmp_path: Path) -> None:
    """500 unpaired requests from the phone's own address are cut off; its hundred answers are all taken."""
    door = Door(tmp_path)
    door.show(replace(REST, alarms=(open_alarm(),)))
    token = door.pair()
    strangers = [door.client.get("/events").status_code for _ in range(500)]
    assert strangers.count(401) == BURST
    assert strangers.count(429) == 500 - BURST
    assert [door.send("/going", BODIES["/going"], token) for _ in range(100)] == [202] * 100


def test_guessing_codes_is_slow(tmp_path: Path) -> None:
    """From many addresses at once: 300 guesses, then five a second, of 2^79 codes, in five minutes."""
    ticks = [0.0]
    buckets = Buckets(lambda: ticks[0])
    assert sum(buckets.take(f"10.0.{i // 250}.{i % 250}") for i in range(2000)) == 300
    ticks[0] += 60
    assert sum(buckets.take(f"10.1.{i // 250}.{i % 250}") for i in range(2000)) == 300
    assert len(buckets._peers) <= 1000


def test_a_long_body_is_refused(tmp_path: Path) -> None:
    """Told by its length, or not told at all."""
    door = Door(tmp_path)
    token = door.pair()
    assert door.send("/going", {"alarm": "x" * BODY}, token) == 413

    def parts() -> "list[bytes]":
        return [b" " * 1000] * 20

    headers = {**JSON, **door.cookie(token)}
    assert door.client.post("/going", content=iter(parts()), headers=headers).status_code == 400


# ---------------------------------------------------------------- OWASP ASVS 4.0.3, item by item


def test_the_cookie_is_as_asvs_asks(tmp_path: Path) -> None:
    """3.4.1 Secure, 3.4.2 HttpOnly, 3.4.3 SameSite, 3.4.4 the __Host- prefix, 3.4.5 path; 3.2.1 a new token."""
    door = Door(tmp_path)
    tokens = []
    for _ in range(2):
        code = door.pairing.new_code(door.now)
        answer = door.client.post("/pair", json={"code": code, "name": "Anna"}, headers=JSON)
        assert answer.status_code == 200
        parts = {part.strip().lower() for part in answer.headers["set-cookie"].split(";")[1:]}
        assert {"secure", "httponly", "samesite=strict", "path=/", f"max-age={int(UNUSED)}"} <= parts
        assert not any(part.startswith("domain") for part in parts)
        name, _, token = answer.headers["set-cookie"].split(";")[0].partition("=")
        assert name == COOKIE
        assert name.startswith("__Host-")
        assert len(token) >= 43  # 3.2.2: 256 bits in base64
        assert token not in answer.text  # 3.1.1, 8.3.1: never in a URL, never in a body
        tokens.append(token)
        door.client.cookies.clear()
    assert tokens[0] != tokens[1]


def answers(door: Door) -> list[object]:
    """One answer of each kind: file, JSON, certificate, refusals."""
    token = door.pair()
    door.pairing.new_code(door.now)
    get = door.client.get
    known = door.cookie(token)
    return [
        *(get(path, headers=known) for path in ("/", "/page.js", "/page.css", "/pair", "/authority.crt", "/nothing")),
        door.client.post("/going", json={}, headers={**JSON, **known}),
        door.client.put("/", headers={**JSON, **known}),
        get("/"),
    ]


def test_every_answer_carries_the_headers(tmp_path: Path) -> None:
    """14.4.3 CSP, 14.4.4 nosniff, 14.4.6 Referrer-Policy, 14.4.7 frames, 8.2.1 no-store; 14.3.3 no versions."""
    for answer in answers(Door(tmp_path)):
        headers = answer.headers  # type: ignore[attr-defined]  # an answer of httpx
        for name, value in HEADERS.items():
            assert headers[name] == value
        assert "server" not in headers
        assert "x-powered-by" not in headers
        assert "access-control-allow-origin" not in headers  # 14.5.3: no other origin at all


def test_the_policy_lets_nothing_in_from_outside_and_nothing_inline() -> None:
    """14.4.3: no source but our own; not one 'unsafe-' word; no frames, no forms, no base."""
    policy = dict(part.strip().split(" ", 1) for part in HEADERS["content-security-policy"].split(";"))
    assert policy["default-src"] == "'none'"
    assert policy["frame-ancestors"] == policy["base-uri"] == policy["form-action"] == "'none'"
    assert {value for name, value in policy.items() if name.endswith("-src")} == {"'none'", "'self'"}
    assert "unsafe" not in HEADERS["content-security-policy"]


def test_every_answer_tells_its_kind_and_characters(tmp_path: Path) -> None:
    """14.4.1 a character set; 14.4.2 JSON is never shown as a page. 14.4.5 (HSTS) is left out, see `gate`."""
    for answer in answers(Door(tmp_path)):
        headers = answer.headers  # type: ignore[attr-defined]  # an answer of httpx
        kind = headers["content-type"]
        assert kind.endswith("; charset=utf-8") or kind == "application/x-x509-ca-cert"
        if kind.startswith("application/json"):
            assert headers["content-disposition"] == 'attachment; filename="api.json"'
        assert "strict-transport-security" not in headers


def test_only_the_methods_in_use_are_answered(tmp_path: Path) -> None:
    """14.5.1, preflight OPTIONS included."""
    door = Door(tmp_path)
    headers = {**JSON, **door.cookie(door.pair())}
    for method in ("PUT", "DELETE", "PATCH", "OPTIONS", "TRACE"):
        assert door.client.request(method, "/going", headers=headers).status_code == 405


def test_a_fault_inside_tells_nothing_of_itself(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """14.3.1, 7.4.1: one plain sentence, no trace, no paths."""
    door = Door(tmp_path)
    token = door.pair()
    door.show(replace(REST, alarms=(open_alarm(),)))
    monkeypatch.setattr(door.watchers, "confirm", lambda *_, **__: 1 / 0)
    answer = door.client.post("/seen", json=BODIES["/seen"], headers={**JSON, **door.cookie(token)})
    assert answer.status_code == 500
    assert answer.text == "Something failed here. It is in the log."


def test_no_secret_is_logged(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    """7.1.1: neither codes nor tokens, good or bad, whatever is refused."""
    caplog.set_level(logging.DEBUG)
    door = Door(tmp_path)
    token = door.pair()
    code = door.pairing.new_code(door.now)
    door.client.get("/", headers=door.cookie(token))
    door.client.get("/", headers=door.cookie(token + "x"))
    door.client.post("/pair", json={"code": code + "X"}, headers=JSON)
    door.client.post("/pair", json={"code": code}, headers=JSON)
    (tmp_path / FILE).write_bytes(b"damaged")
    door.client.get("/", headers=door.cookie(token))
    assert caplog.records
    assert token not in caplog.text
    assert code not in caplog.text


def test_a_further_view_is_behind_the_same_gate(tmp_path: Path) -> None:
    """Tonight, week, month: refused to strangers, with all the page's headers for the paired."""

    async def week(request: Request) -> Response:
        return Response(f"for {request.state.device.name}", headers={"content-type": "text/html; charset=utf-8"})

    door = Door(tmp_path, views=(View("/week", "Week", (Route("/week", week), Route("/week/{day}", week))),))
    token = door.pair("Anna")
    for path in ("/week", "/week/2026-03-01"):
        assert door.client.get(path).status_code == 401
        answer = door.client.get(path, headers=door.cookie(token))
        assert answer.text == "for Anna"
        assert answer.headers["content-security-policy"] == HEADERS["content-security-policy"]


def test_a_disk_that_fails_shuts_no_known_phone_out(tmp_path: Path) -> None:
    """Whom it knew it still knows: an answer goes through; a stranger still does not."""
    door = Door(tmp_path)
    door.show(replace(REST, alarms=(open_alarm(),)))
    token = door.pair()
    assert door.send("/going", BODIES["/going"], token) == 202
    (tmp_path / FILE).write_bytes(b"damaged")
    assert door.send("/going", BODIES["/going"], token) == 202
    assert door.send("/going", BODIES["/going"], token[::-1]) == 401


@pytest.mark.parametrize(
    ("header", "name"),
    [("nas.local:8443", "nas.local"), ("NAS.local.", "nas.local"), ("[::1]:8443", "::1"), ("", ""), ("[", "")],
)
def test_host_headers(header: str, name: str) -> None:
    """With and without port, in any case."""
    assert host_of(header) == name


@pytest.mark.parametrize(
    ("header", "token"),
    [(f"a=1; {COOKIE}=t; b=2", "t"), (f"x{COOKIE}=t", None), ("", None), (f"{COOKIE}=", "")],
)
def test_cookie_headers(header: str, token: str | None) -> None:
    """Ours alone, among others."""
    assert cookie_of(header) == token
