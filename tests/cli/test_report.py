"""`beepwatch report`: written where it is asked for, and what is left out is out."""

from collections.abc import Callable
from datetime import datetime, timedelta
from io import BytesIO
from pathlib import Path
from typing import TypeAlias

import pytest
from pypdf import PdfReader

from beepwatch import cli
from beepwatch.records.store import Store
from tests.invented import House

Run: TypeAlias = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Run:
    """The command on a history of the last two nights, with an alarm, a drill and a note."""
    (tmp_path / "data").mkdir()
    store = Store(tmp_path / "data")
    yesterday = (datetime.now().astimezone() - timedelta(days=1)).date()
    zone = datetime.now().astimezone().tzinfo
    assert zone is not None
    house = House(store, zone)
    with store.together():
        span = house.span(yesterday - timedelta(days=1))
        number = house.alarm(span, "lead-disconnect", house.at(yesterday, 2), found="cable")
        house.alarm(span, "lead-disconnect", house.at(yesterday, 3), drill=True, who="Ben")
        store.write_note("alarm", number, house.at(yesterday, 8), "the plug had slipped", "Anna")
    store.close()
    (tmp_path / "config").mkdir()
    (tmp_path / "config" / "settings.toml").write_text('[names]\nperson = "Sam"\n')

    def command(*words: str) -> tuple[int, str, str]:
        places = ["--data", str(tmp_path / "data"), "--config", str(tmp_path / "config")]
        code = cli.main(["report", *places, *words])
        return code, *capsys.readouterr()

    return command


def test_two_pages_and_a_file(run: Run, tmp_path: Path) -> None:
    """Both tell the same alarm, and it says to look through it."""
    pdf, page = tmp_path / "r.pdf", tmp_path / "r.HTML"
    code, told, _ = run("-o", str(pdf), "--paper", "letter")
    assert (code, run("-o", str(page))[0]) == (0, 0)
    assert told.startswith(f"Wrote {pdf}: 1 of 61 nights were listened to.\nLook through it")
    sheets = PdfReader(BytesIO(pdf.read_bytes())).pages
    both = " ".join(sheet.extract_text() for sheet in sheets), page.read_text("utf-8")
    assert len(sheets) == 2
    for text in both:
        assert "it was a cable or lead (number 1)" in " ".join(text.split())
        assert "the plug had slipped" not in text


def test_what_is_asked_for_and_what_is_left_out(run: Run, tmp_path: Path) -> None:
    """Notes only when asked for; names, answers and drills each by a word."""
    page = tmp_path / "r.html"
    assert run("-o", str(page), "--with-notes")[0] == 0
    told = page.read_text("utf-8")
    for words in ("the plug had slipped", "Sam", "Anna", "Drills, counted apart", "answered after"):
        assert words in told
    assert run("-o", str(page), "--without-names", "--without-answers", "--without-drills")[0] == 0
    told = page.read_text("utf-8")
    for words in ("the plug had slipped", "Sam", "Anna", "Drills, counted apart", "answered after"):
        assert words not in told


def test_the_same_history_gives_the_same_bytes(run: Run, tmp_path: Path) -> None:
    """Of a period that is over."""
    last = (datetime.now().astimezone() - timedelta(days=2)).date()
    made = []
    for name in ("a.pdf", "b.pdf", "a.html", "b.html"):
        assert run("-o", str(tmp_path / name), "--to", str(last))[0] == 0
        made.append((tmp_path / name).read_bytes())
    assert made[0] == made[1]
    assert made[2] == made[3]


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--from", "2026-03-31", "--to", "2026-01-30"), "is after --to 2026-01-30: give the earlier night first"),
        (("--from", "2999-01-01", "--to", "2999-02-01"), "is yet to come"),
        (("--from", "yesterday"), "--from 'yesterday' is no date: write it like 2026-03-01"),
        (("--to", "2026-02-30"), "is no date"),
        (("--from", "1900-01-01"), "give a day from 2000-01-01 on"),
        (("--from", "2001-01-01", "--to", "2026-01-01"), "at most ten years"),
        (("-o", "report.txt"), "end the name in .pdf or .html"),
        (("-o", "none/report.pdf"), "choose another place with -o"),
        (("-o", "none/report.html"), "choose another place with -o"),
        (("--data", "none"), "no history in none"),
    ],
)
def test_what_cannot_be_is_told_in_one_line(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...], told: str
) -> None:
    """Exit code 2, and nothing is written."""
    monkeypatch.chdir(tmp_path)
    code, out, error = run("-o", "report.pdf", *words)
    assert (code, out, error.count("\n")) == (2, "", 1)
    assert told in error
    assert not (tmp_path / "report.pdf").exists()


def test_a_family_without_a_history(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """It is told how one begins."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    assert cli.main(["report", "-o", str(tmp_path / "r.pdf")]) == 2
    assert "`beepwatch watch` begins one" in capsys.readouterr().err
