"""Settings: decoded strictly, edited with a person's comments kept, and each mistake told in one line with a remedy."""

import os
import re
from pathlib import Path

import msgspec
import pytest
from hypothesis import given as supposing
from hypothesis import strategies as st

from beepwatch.cli import main
from beepwatch.errors import InputError
from beepwatch.settings.file import FILE, change, keep_sounder, load, load_sounders, sounder_text
from beepwatch.settings.household import household, rows, signature
from beepwatch.settings.model import BY_NAME, KEYS, decode, parse
from beepwatch.settings.sounder import SAME, Sounder, aside, device_of, read, refusal

COMMENTED = """# Sam's own
[names]
person = "Sam"     # 9, at home

[device]
# measured by ear
tone = 2730
"""


def sounder(name: str = "device", role: str = "wake", tone: float = 2730.0, taught: str = "2026-03-01") -> Sounder:
    """A taught beep as `teach` would keep it."""
    return read(
        f'beepwatch-sounder = 1\nname = "{name}"\nrole = "{role}"\ntone = {tone}\ntone-spread = 0.0001\n'
        f'harmonics = [-12.5, "hidden"]\nlength = 1.2\nlevel = -40.0\nbeeps = 3\ntaught = "{taught}"\n',
        "a test",
    )


def test_without_a_file_all_is_default(tmp_path: Path) -> None:
    """Nothing given, nothing disarmed, no tone."""
    home = household(tmp_path / "none")
    assert home.given == frozenset()
    assert home.tone is None
    assert home.settings.disarmed == ()
    assert {row.origin for row in rows(home, {})} == {"default"}


def test_an_edit_keeps_what_a_person_wrote(tmp_path: Path) -> None:
    """Comments, order and blank lines stay; only the value changes."""
    (tmp_path / FILE).write_text(COMMENTED)
    change(tmp_path, "names.person", "Samira")
    assert (tmp_path / FILE).read_text() == COMMENTED.replace('"Sam" ', '"Samira" ')
    change(tmp_path, "names.person", None)
    change(tmp_path, "words.emergency", "112")
    text = (tmp_path / FILE).read_text()
    assert "# Sam's own" in text
    assert "# measured by ear" in text
    settings, given = load(tmp_path)
    assert (settings.names.person, settings.words.emergency, settings.device.tone) == ("", "112", 2730)
    assert given == {"device.tone", "words.emergency"}


@pytest.mark.parametrize(
    "text", ['names.person = "Sam"\r\n', '\ufeff[names]\nperson="Sam"', 'names = {person = "Sam"}']
)
def test_any_way_to_write_it_can_be_edited(tmp_path: Path, text: str) -> None:
    """Dotted, inline, with the line ends and the mark of Windows."""
    (tmp_path / FILE).write_bytes(text.encode())
    change(tmp_path, "names.caregiver", "Anna")
    change(tmp_path, "device.tone", "2730")
    settings, _ = load(tmp_path)
    assert (settings.names.person, settings.names.caregiver, settings.device.tone) == ("Sam", "Anna", 2730)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[names]\npersn = 'Sam'", ["names.persn", "did you mean names.person?"]),
        ("[nmes]\nperson = 'Sam'", ["nmes.person", "names.person"]),
        ("names = 'Sam'", ["names"]),
        ("[device]\ntone = 9000", ["device.tone = 9000", "400 to 5000"]),
        ("[device]\ntone = '2730'", ["device.tone = '2730'", "in Hz"]),
        ("[device]\ntone = nan", ["device.tone", "in Hz"]),
        ("[home]\nsame-room = true", ["home.same-room = True", "yes or no"]),
        ("[armed]\nfire = 'no'", ["armed.fire is no setting"]),
        ("[names]\nperson = 7", ["names.person = 7", "a name"]),
        ('[names]\nperson = "a\\u001bb"', ["names.person", "a name"]),
        ("[names", ["no TOML", "mend that line"]),
    ],
)
def test_a_mistake_names_key_value_and_remedy(tmp_path: Path, text: str, words: list[str]) -> None:
    """In one line, with the file."""
    (tmp_path / FILE).write_text(text)
    with pytest.raises(InputError) as caught:
        load(tmp_path)
    line = str(caught.value)
    assert "\n" not in line
    for word in [*words, FILE]:
        assert word in line


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["set", "names.persn", "Sam"], ["names.persn", "did you mean names.person?"]),
        (["set", "device.tone", "2.73"], ["device.tone = 2.73", "400 to 5000"]),
        (["set", "device.tone", "high"], ["device.tone = 'high'", "in Hz"]),
        (["set", "home.same-room", "perhaps"], ["home.same-room = 'perhaps'", "yes or no"]),
        (["set", "names.person"], ["needs a VALUE"]),
        (["clear"], ["needs a KEY"]),
        (["clear", "names.person", "Sam"], ["settings set"]),
    ],
)
def test_the_verb_refuses_with_exit_code_2(
    capsys: pytest.CaptureFixture[str], no_settings: Path, arguments: list[str], words: list[str]
) -> None:
    """And nothing is written."""
    assert main(["settings", *arguments]) == 2
    error = capsys.readouterr().err
    assert error.count("\n") == 1
    for word in words:
        assert word in error
    assert not no_settings.exists()


def test_watch_does_not_begin_a_night_with_a_mistake(
    tmp_path: Path, no_settings: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Told before anything is opened: exit code 2, one line."""
    no_settings.mkdir()
    (no_settings / FILE).write_text("[names]\npersn = 'Sam'\n")
    assert main(["watch", "--data", str(tmp_path)]) == 2
    error = capsys.readouterr().err
    assert error.count("\n") == 1
    assert "did you mean names.person?" in error


def test_a_file_with_a_mistake_is_not_edited_over(tmp_path: Path) -> None:
    """A person mends it first."""
    (tmp_path / FILE).write_text("[names]\npersn = 'Sam'\n")
    with pytest.raises(InputError, match="persn"):
        change(tmp_path, "names.caregiver", "Anna")
    assert (tmp_path / FILE).read_text() == "[names]\npersn = 'Sam'\n"


def test_the_verb_shows_value_origin_and_what_it_may_be(capsys: pytest.CaptureFixture[str], no_settings: Path) -> None:
    """File, command line, taught and default."""
    assert main(["settings", "set", "names.person", "Sam"]) == 0
    assert "names.person = Sam  (file). A running watch takes it over at once." in capsys.readouterr().out
    keep_sounder(no_settings, sounder())
    assert main(["settings", "--device", "USB"]) == 0
    out = capsys.readouterr().out
    assert "names.person = Sam  (file)" in out
    assert "sound.microphone = USB  (command line)" in out
    assert "device.tone = 2730.0 (device)  (taught)" in out
    assert "names.caregiver = you  (default)" in out
    for key in KEYS:
        assert key.may_be in out
    assert str(no_settings / FILE) in out
    assert main(["settings", "set", "sound.microphone", "USB"]) == 0
    assert "It waits for the next start of watch." in capsys.readouterr().out


def test_one_setting_can_be_shown_alone(capsys: pytest.CaptureFixture[str], no_settings: Path) -> None:
    """Two lines; a key that there is not is refused."""
    assert main(["settings", "show", "sound.microphone"]) == 0
    first, second = capsys.readouterr().out.splitlines()
    assert first == "sound.microphone = the system's own  (default)"
    assert second.endswith("(from the next start of watch on)")
    assert main(["settings", "show", "sound.microfone"]) == 2
    assert "did you mean sound.microphone?" in capsys.readouterr().err


def test_a_folder_that_cannot_be_written(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The line says which option helps."""
    (tmp_path / "file").touch()
    assert main(["settings", "set", "names.person", "Sam", "--config", str(tmp_path / "file" / "x")]) == 2
    assert "--config DIR" in capsys.readouterr().err


@supposing(st.text(max_size=60).filter(lambda text: not re.search(r"[\x00-\x1f\x7f-\x9f]", text)))
def test_any_name_comes_back_as_it_was(text: str) -> None:
    """Quotes, brackets and letters of any script, through the editor and the decoder."""
    import tomlkit  # noqa: PLC0415

    value = parse("names.person", text)
    assert decode(tomlkit.dumps({"names": {"person": value}})).names.person == text.strip()


def test_every_setting_says_what_it_may_be() -> None:
    """No key of the file is without its line, and the default of each decodes."""
    assert set(BY_NAME) == {key.name for key in KEYS} | {"setup.done"}
    assert all(key.may_be and key.default for key in KEYS)


def test_a_sounder_comes_back_as_it_was(tmp_path: Path) -> None:
    """Through its file, hidden harmonics too; the file is for this user alone."""
    path = keep_sounder(tmp_path, sounder())
    assert load_sounders(tmp_path) == [sounder()]
    assert read(sounder_text(sounder()), "text") == sounder()
    if os.name == "posix":
        assert path.stat().st_mode & 0o077 == 0


def test_what_could_not_be_read_again_is_not_written(tmp_path: Path) -> None:
    """A tone that no settings allow is refused, and the old file stays."""
    keep_sounder(tmp_path, sounder())
    with pytest.raises(InputError, match="device is no sounder"):
        keep_sounder(tmp_path, msgspec.structs.replace(sounder(), tone=5040.0))
    assert load_sounders(tmp_path) == [sounder()]


def test_a_foreign_file_is_no_sounder(tmp_path: Path) -> None:
    """The line names the file and the way out; so does a name that comes twice."""
    keep_sounder(tmp_path, sounder())
    (tmp_path / "sounders" / "copy.toml").write_text(sounder_text(sounder()))
    with pytest.raises(InputError, match="another sounder named device"):
        load_sounders(tmp_path)
    (tmp_path / "sounders" / "copy.toml").write_text("name = '../../etc'\n")
    with pytest.raises(InputError, match=r"copy\.toml is no sounder"):
        load_sounders(tmp_path)


def test_the_device_is_the_chosen_or_the_first_that_wakes() -> None:
    """Never one that is ignored."""
    first, second = sounder("a", taught="2026-02-01"), sounder("b", taught="2026-01-01")
    oven = sounder("oven", role="ignore", tone=2000, taught="2025-01-01")
    assert device_of([first, second, oven], "") == second
    assert device_of([first, second, oven], "a") == first
    assert device_of([first, oven], "oven") is None


@pytest.mark.parametrize("role", ["ignore", "log"])
@pytest.mark.parametrize(
    ("tone", "allowed"),
    [
        (2730 * 1.0299, False),
        (2730 * 0.9701, False),
        (2730 * 1.031, True),
        (2730 * 0.969, True),
        (2730 * 2 * 0.9905, False),
        (2730 * 2 * 0.989, True),
    ],
)
def test_nothing_near_the_device_is_set_aside(role: str, tone: float, allowed: bool) -> None:
    """Within 3 % of its tone, and where a room may let it be heard an octave up, at just inside and just outside."""
    other = sounder("oven", role=role, tone=min(tone, 5000.0))
    device = 2730.0 if tone < 5000 else 2730.0 * 5000.0 / tone
    assert (refusal(other.role, other.tone, device) is None) is allowed
    found = aside([other], device)
    assert bool(found.notes) is not allowed
    assert bool(found.ignored or found.logged) is allowed


def test_nothing_is_set_aside_while_the_device_is_unknown() -> None:
    """Or it could be the device itself."""
    found = aside([sounder("oven", role="ignore", tone=2000)], None)
    assert found.ignored == ()
    assert "teach the device first" in found.notes[0]
    two = aside([sounder("oven", role="ignore", tone=2000)], 2730.0, 2010.0)
    assert two.ignored == ()


def test_only_logged_alarms_are_quiet() -> None:
    """At its tone, to within SAME."""
    found = aside([sounder("neighbour", role="log", tone=2000)], 2730.0)
    assert found.quiet(2000 * (1 + 0.9 * SAME))
    assert not found.quiet(2000 * (1 + 1.1 * SAME))


def test_the_signature_tells_a_change(tmp_path: Path) -> None:
    """Of a setting, and of a sounder that comes or goes."""
    marks = [signature(tmp_path)]
    change(tmp_path, "names.person", "Sam")
    marks.append(signature(tmp_path))
    keep_sounder(tmp_path, sounder())
    marks.append(signature(tmp_path))
    assert len(set(marks)) == 3
    assert signature(tmp_path) == marks[-1]
