"""Ladder, rota and commands in the settings: decoding with one line for each mistake, and who is on duty when."""

import re
from datetime import datetime
from pathlib import Path

import pytest

from beepwatch.errors import InputError
from beepwatch.settings.ladder import Turn, described, duty_at, ladder_of, people_of
from beepwatch.settings.model import decode
from beepwatch.waking.ladder import ON_DUTY, SECOND, SPEAKER, Duty, Ladder, Step

WHOLE = """
[names]
caregiver = "Anna"
second = "Ben"
[[ladder]]
after = 120
who = "second"
by = ["speaker", "lamp"]
[[ladder]]
by = ["speaker"]
[[rota]]
who = "Ben"
second = "Cleo"
days = ["fri", "sat"]
from = "20:00"
until = "08:00"
[[command]]
name = "lamp"
run = ["/usr/bin/lamp", "--on", "a b"]
quiet = ["/usr/bin/lamp", "--off"]
seconds = 5
"""


def test_a_whole_ladder_is_read_and_sorted() -> None:
    """Steps by their time, whatever their order in the file; who defaults to the one on duty."""
    made = decode(WHOLE)
    assert ladder_of(made.ladder, second=True) == Ladder(
        (Step(0.0, ON_DUTY, ("speaker",)), Step(120.0, SECOND, ("speaker", "lamp")))
    )
    (lamp,) = made.command
    assert (lamp.run, lamp.quiet, lamp.seconds) == (
        ("/usr/bin/lamp", "--on", "a b"), ("/usr/bin/lamp", "--off"), 5.0,
    )  # fmt: skip
    assert people_of(made.ladder, made.rota, "Anna", "Ben") == ("Anna", "Ben", "Cleo")


def test_it_is_told_as_a_person_reads_it() -> None:
    """By `beepwatch settings`, and in the history as what was in force."""
    made = decode(WHOLE)
    assert described(made.ladder, made.rota, made.command) == [
        "ladder: after 120 s second by speaker, lamp",
        "ladder: after 0 s on-duty by speaker",
        "rota: fri, sat 20:00 to 08:00: Ben, then Cleo",
        "command lamp: /usr/bin/lamp --on a b (up to 5 s)",
    ]
    assert described((), (), ()) == ["ladder: the speaker at once"]


def test_without_a_ladder_the_speaker_sounds_at_once() -> None:
    """As ever; a second name adds a step for it."""
    assert ladder_of((), second=False) == Ladder()
    assert [step.who for step in ladder_of((), second=True).steps] == [ON_DUTY, SECOND]
    assert ladder_of((), second=True).steps[0] == Step(0.0, ON_DUTY, (SPEAKER,))


@pytest.mark.parametrize(("text", "words"), [
    ('[[ladder]]\nby = ["speaker"]\nafer = 3', "[[ladder]] number 1"),
    ('[[ladder]]\nby = ["speaker"]\nafter = -1', "[[ladder]] number 1"),
    ('[[ladder]]\nby = ["speaker"]\nafter = 9999', "[[ladder]] number 1"),
    ("[[ladder]]\nby = []", "[[ladder]] number 1"),
    ('[[ladder]]\nby = ["speaker"]\n[[ladder]]\nby = "speaker"', "[[ladder]] number 2"),
    ('[[ladder]]\nby = ["lamp"]', "'lamp' is no way to wake: there are speaker, page, bedside, hub"),
    ('[[ladder]]\nafter = 30\nby = ["speaker"]', "begins late"),
    ('[ladder]\nby = ["speaker"]', "write [[ladder]] with two brackets"),
    ('[[rota]]\nwho = "Ben"\ndays = ["friday"]', "[[rota]] number 1"),
    ('[[rota]]\nwho = "Ben"\nfrom = "8 pm"', "[[rota]] number 1"),
    ('[[command]]\nname = "lamp"\nrun = "lamp on"', "[[command]] number 1"),
    ('[[command]]\nname = "lamp"\nrun = []', "[[command]] number 1"),
    ('[[command]]\nname = "speaker"\nrun = ["x"]', "a way of that name already"),
    ('[[command]]\nname = "lamp"\nrun = ["x"]\n[[command]]\nname = "lamp"\nrun = ["y"]', "a way of that name already"),
])  # fmt: skip
def test_what_cannot_be_is_told_in_one_line(text: str, words: str) -> None:
    """The file, which table of the list, and what to do."""
    with pytest.raises(InputError) as refused:
        decode(text, "my/settings.toml")
    assert str(refused.value).startswith("my/settings.toml: ")
    assert words in str(refused.value)
    assert "\n" not in str(refused.value)


@pytest.mark.parametrize(("moment", "first", "second"), [
    ("2026-03-06T19:59", "Anna", "Ben"),  # Friday, before the turn begins
    ("2026-03-06T20:00", "Ben", "Cleo"),
    ("2026-03-07T03:00", "Ben", "Cleo"),  # Friday's night goes on
    ("2026-03-07T08:00", "Anna", "Ben"),
    ("2026-03-07T23:59", "Ben", "Cleo"),
    ("2026-03-08T07:59", "Ben", "Cleo"),  # Saturday's night, on Sunday
    ("2026-03-08T20:00", "Anna", "Ben"),  # Sunday has no turn
    ("2026-03-09T03:00", "Anna", "Ben"),
])  # fmt: skip
def test_the_rota_goes_by_the_day_on_which_a_night_begins(moment: str, first: str, second: str) -> None:
    """Over midnight too; outside every turn the names hold."""
    made = decode(WHOLE)
    assert duty_at(made.rota, "Anna", "Ben", datetime.fromisoformat(moment)) == Duty(first, second)


def test_a_turn_by_day_and_one_without_hours() -> None:
    """From before until is the same day; without hours it is the whole day; the first that covers holds."""
    day, always = Turn("Ben", begin="09:00", until="17:00"), Turn("Cleo")
    at = datetime(2026, 3, 2, 12, 0)  # noqa: DTZ001 - local wall time
    night = datetime(2026, 3, 2, 23, 0)  # noqa: DTZ001
    assert duty_at((day, always), "Anna", "", at).first == "Ben"
    assert duty_at((day, always), "Anna", "", night).first == "Cleo"


def test_the_second_is_never_the_first() -> None:
    """Where the rota has the second caregiver first, the other one of the household comes second."""
    turn = Turn("Ben")
    noon = datetime(2026, 3, 2, 12, 0)  # noqa: DTZ001 - local wall time
    assert duty_at((turn,), "Anna", "Ben", noon) == Duty("Ben", "Anna")
    assert duty_at((), "Anna", "Anna", noon) == Duty("Anna", "")


def test_the_manuals_ladder_is_one() -> None:
    """README's example decodes as it stands: two steps, a turn, a shaker."""
    text = (Path(__file__).parents[1] / "README.md").read_text("utf-8")
    (example,) = [block for block in re.findall(r"```toml\n(.*?)```", text, re.DOTALL) if "[[ladder]]" in block]
    made = decode(example)
    assert [rung.by for rung in made.ladder] == [("speaker", "shaker")] * 2
    assert (made.rota[0].who, made.command[0].name) == ("Ben", "shaker")
