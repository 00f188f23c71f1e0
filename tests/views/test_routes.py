"""The routes of the views behind the gate: what is answered, with which headers, and what a note becomes."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from beepwatch.cli import main
from beepwatch.page.gate import BODY, HEADERS
from beepwatch.records.reading import History
from beepwatch.views import routes
from beepwatch.views.evidence import WORDS
from beepwatch.views.routes import SOUND_POLICY, views
from beepwatch.waking.commands import Command, Noted
from tests.page.door import Door
from tests.records.hostile import HOSTILE
from tests.views.shelf import Loop, book, shelf


def door_to(folder: Path, page: Path, told: list[Command]) -> Door:
    """A door to the views of this history."""
    return Door(page, views=views(book(folder), told.append))


@pytest.fixture
def door(filled: tuple[Path, int], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Door:
    """Nobody writes behind it, so it does not wait long."""
    monkeypatch.setattr(routes, "WRITTEN", 0.2)
    return door_to(filled[0], tmp_path, [])


@pytest.mark.parametrize(
    "path",
    ["/tonight", "/week", "/month", "/tonight/2026-03-09", "/week/2026-03-09", "/month/2026-03-09", "/week/2199-01-01"],
)
def test_views_are_whole_pages(door: Door, path: str) -> None:
    """HTML with the page's headers, the strict policy among them; a day to come is tonight."""
    answer = door.client.get(path, headers=door.cookie(door.pair()))
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "text/html; charset=utf-8"
    for name, value in HEADERS.items():
        assert answer.headers[name] == value
    assert "silence does not mean all is well" in answer.text


@pytest.mark.parametrize(
    "path",
    [
        "/tonight/", "/week/2026-13-01", "/week/yesterday", "/week/0001-01-01", "/week/1999-01-01",
        "/month/2026-03-09/x", "/alarm/0", "/alarm/99999", "/alarm/x", "/alarm/-1", "/alarm/1.0", f"/alarm/{2**70}",
        "/alarm/1/clip/1", "/alarm/1/clip/../../history.sqlite3", f"/alarm/1/clip/{2**70}", "/history.sqlite3",
    ],
)  # fmt: skip
def test_what_there_is_not_is_told_plainly(door: Door, path: str) -> None:
    """404, never a fault inside."""
    answer = door.client.get(path, headers=door.cookie(door.pair()), follow_redirects=False)
    assert answer.status_code in (404, 307), path
    if answer.status_code == 307:  # to the path without its last slash
        assert answer.headers["location"].endswith("/tonight")


def test_a_page_with_sound_may_play_it_and_no_other_page_may(door: Door, filled: tuple[Path, int]) -> None:
    """media-src 'self' on that page only; all else of the policy as everywhere."""
    known = door.cookie(door.pair())
    with_sound = door.client.get(f"/alarm/{filled[1]}", headers=known).headers["content-security-policy"]
    assert with_sound == SOUND_POLICY
    assert SOUND_POLICY.replace("media-src 'self'; ", "") == HEADERS["content-security-policy"]
    for path in ("/alarm/1", "/tonight", "/"):
        policy = door.client.get(path, headers=known).headers["content-security-policy"]
        assert policy == HEADERS["content-security-policy"]


def test_the_sound_is_the_file_that_was_kept(door: Door, filled: tuple[Path, int]) -> None:
    """Whole, and in ranges, which some phones' players ask for; never stored."""
    known = door.cookie(door.pair())
    (file,) = (filled[0] / "clips").iterdir()
    path = f"/alarm/{filled[1]}/clip/1"
    answer = door.client.get(path, headers=known)
    assert answer.content == file.read_bytes()
    assert answer.headers["content-type"] == "audio/flac"
    assert answer.headers["cache-control"] == "no-store"
    part = door.client.get(path, headers={**known, "range": "bytes=0-3"})
    assert (part.status_code, part.content) == (206, b"fLaC")
    assert door.client.get(f"/alarm/{filled[1]}/clip/2", headers=known).status_code == 404
    assert door.client.get("/alarm/1/clip/1", headers=known).status_code == 404  # of another alarm


def test_a_note_becomes_a_command_of_the_devices_own_name(filled: tuple[Path, int], tmp_path: Path) -> None:
    """202 while it is not in the history; who writes is never taken from the body."""
    told: list[Command] = []
    door = door_to(filled[0], tmp_path, told)
    body = {"what": "false-alarm", "words": "  the oven  "}
    assert door.send(f"/alarm/{filled[1]}/note", body, door.pair("Anna")) == 202
    assert told == [Noted(filled[1], "false-alarm", "the oven", "Anna", "page")]


@pytest.mark.parametrize(
    "body",
    [
        {}, {"words": "   "}, {"what": "nothing"}, {"what": None}, {"words": "x", "who": "Ben"}, {"words": 1}, [], "x",
        {"words": "x" * (WORDS + 1)},
    ],
)  # fmt: skip
def test_what_is_no_note_is_refused(filled: tuple[Path, int], tmp_path: Path, body: object) -> None:
    """400, and nothing is told to the loop."""
    told: list[Command] = []
    door = door_to(filled[0], tmp_path, told)
    assert door.send(f"/alarm/{filled[1]}/note", body, door.pair()) == 400
    assert told == []


def test_notes_on_nothing_from_elsewhere_or_too_long_are_refused(filled: tuple[Path, int], tmp_path: Path) -> None:
    """404, 403 and 413."""
    told: list[Command] = []
    door = door_to(filled[0], tmp_path, told)
    token, path = door.pair(), f"/alarm/{filled[1]}/note"
    assert door.send("/alarm/99999/note", {"words": "x"}, token) == 404
    for more in ({"origin": "https://evil.example"}, {"sec-fetch-site": "cross-site"}, {"content-type": "text/plain"}):
        assert door.send(path, {"words": "x"}, token, more) == 403
    assert door.send(path, {"words": "x" * BODY}, token) == 413
    assert told == []


def test_the_longest_note_passes_the_gate(door: Door, filled: tuple[Path, int]) -> None:
    """A thousand letters of three bytes, as JSON."""
    assert door.send(f"/alarm/{filled[1]}/note", {"what": "other", "words": "ア" * 500}, door.pair()) == 202
    body = '{"what":"false-alarm","words":"' + "ア" * WORDS + '"}'
    headers = {**door.cookie(door.pair()), "content-type": "application/json"}
    answer = door.client.post(f"/alarm/{filled[1]}/note", content=body.encode(), headers=headers)
    assert answer.status_code == 202


def test_a_history_that_cannot_be_read_is_told(tmp_path: Path) -> None:
    """503 in plain words, on every page and for a note; the server goes on."""
    folder = tmp_path / "data"
    folder.mkdir()
    (folder / "history.sqlite3").write_bytes(b"damaged" * 1000)
    told: list[Command] = []
    door = door_to(folder, tmp_path, told)
    token = door.pair()
    for path in ("/tonight", "/week", "/month", "/alarm/1", "/alarm/1/clip/1"):
        answer = door.client.get(path, headers=door.cookie(token))
        assert answer.status_code == 503
        assert "The history cannot be read now" in answer.text
    assert door.send("/alarm/1/note", {"words": "x"}, token) == 503
    assert told == []


@pytest.fixture
def house(tmp_path: Path) -> Iterator[tuple[Path, int, Door]]:
    """A history that a loop writes, and the door to it."""
    folder = tmp_path / "data"
    folder.mkdir()
    number = shelf(folder, ())
    loop = Loop(folder)
    yield folder, number, Door(tmp_path, views=views(book(folder), loop.command))
    loop.close()


def test_a_note_of_a_phone_is_in_the_history(house: tuple[Path, int, Door], capsys: pytest.CaptureFixture[str]) -> None:
    """200 means that it is on the disk: `beepwatch history` tells it, the earlier finding is corrected."""
    folder, number, door = house
    assert door.send(f"/alarm/{number}/note", {"what": "false-alarm", "words": "the oven"}, door.pair("Ben")) == 200
    assert main(["history", "--data", str(folder), "--since", "2026-03-31"]) == 0
    out = capsys.readouterr().out
    assert "what it was: a false alarm" in out
    assert "note 1: the oven" in out
    with History(folder) as history:
        (note,) = history.notes_on("alarm", number)
        found = history.found_of(number)
        assert found == history.found()[number]
    assert (note.who, note.text) == ("Ben", "the oven")
    assert found is not None
    assert (found.what, found.who) == ("false-alarm", "Ben")
    assert main(["history", "--data", str(folder), "--verify"]) == 0


def test_hostile_notes_of_a_phone_do_no_harm(house: tuple[Path, int, Door], capsys: pytest.CaptureFixture[str]) -> None:
    """Each is kept to the letter and shown as words, on the page and by `beepwatch history`, as text and as CSV."""
    folder, number, door = house
    token = door.pair("Anna")
    for words in HOSTILE[:-1]:
        assert door.send(f"/alarm/{number}/note", {"words": words}, token) == 200, words
    with History(folder) as history:
        assert [note.text for note in history.notes_on("alarm", number)] == [words.strip() for words in HOSTILE[:-1]]
    page = door.client.get(f"/alarm/{number}", headers=door.cookie(token)).text
    assert "<script>alert" not in page
    assert "&lt;script&gt;alert(1)" in page
    assert "\u202e" not in page
    for form in ("text", "csv"):
        assert main(["history", "--data", str(folder), "--format", form, "--with-notes"]) == 0
        assert "\x1b" not in capsys.readouterr().out
