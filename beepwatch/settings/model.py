"""The settings as values: what there is, what each may be, and decoding with one line for each mistake. Pure."""

import difflib
import tomllib
from dataclasses import dataclass
from typing import Annotated, Literal, TypeAlias

import msgspec

from beepwatch.errors import InputError
from beepwatch.settings.ladder import ROWS, Command, Rung, Turn, check_ladder, check_rows
from beepwatch.settings.routine import Answer, OwnRoutine, check_routines

LONGEST = 60
"""Letters of a name or a word: it is spoken at night (judgement)."""
TONES = (400.0, 5000.0)
"""Hz in which hearing looks for beeps."""
LOOPBACK = ("localhost", "127.0.0.1", "::1")
Line: TypeAlias = Annotated[str, msgspec.Meta(max_length=LONGEST, pattern=r"^[^\x00-\x1f\x7f-\x9f]*$")]
Hour: TypeAlias = Annotated[str, msgspec.Meta(pattern=r"^(([01]\d|2[0-3]):[0-5]\d)?$")]
DayHour: TypeAlias = Annotated[str, msgspec.Meta(pattern=r"^(0[6-9]|1\d|2[01]):[0-5]\d$")]
"""06:00 to 21:59: not at night."""
Hertz: TypeAlias = Annotated[float, msgspec.Meta(ge=TONES[0], le=TONES[1])]
Value: TypeAlias = str | float | None


class _Part(msgspec.Struct, frozen=True, forbid_unknown_fields=True, rename="kebab"):
    """A table of the file; a misspelt key is told, never left out."""


class Names(_Part, frozen=True):
    """Who is who; empty: told without a name."""

    person: Line = ""
    caregiver: Line = ""
    second: Line = ""


class Home(_Part, frozen=True):
    """Where the caregiver sleeps."""

    same_room: Literal["yes", "no", "unknown"] = "unknown"


class Sound(_Part, frozen=True):
    """Devices by name; empty: the system's default."""

    microphone: str = ""
    speaker: str = ""
    tone: str = ""
    voice: str = ""
    keypad: str = ""
    second_way: str = ""


class Watching(_Part, frozen=True):
    """Times of day at which `watch` and its service look after themselves; empty: never."""

    evening: Hour = ""
    self_test: Hour = "13:00"


class History(_Part, frozen=True):
    """Where the history is; empty: the platform's own folder."""

    folder: str = ""


class Clips(_Part, frozen=True):
    """Short sounds of alarms: narrow bands round the tone, kept beside the history."""

    keep: Literal["yes", "no"] = "yes"
    days: Annotated[int, msgspec.Meta(ge=1, le=3650)] = 60
    """Until one is deleted (judgement: two visits to the clinic)."""
    megabytes: Annotated[int, msgspec.Meta(ge=1, le=10_000)] = 100
    """That all of them may take; the oldest go first (judgement: some 200 alarms)."""


class Hub(_Part, frozen=True):
    """A hub of the home, by MQTT; without a host there is none."""

    host: Annotated[str, msgspec.Meta(max_length=253, pattern=r"^[A-Za-z0-9.:_-]*$")] = ""
    port: Annotated[int, msgspec.Meta(ge=1, le=65535)] = 8883
    topic: Annotated[str, msgspec.Meta(pattern=r"^[A-Za-z0-9_-]+(/[A-Za-z0-9_-]+)*$", max_length=100)] = "beepwatch"
    user: Line = ""
    password_file: str = ""
    """Not the password itself: settings are kept in the history."""
    tls: Literal["yes", "no"] = "yes"
    ca_file: str = ""


class Device(_Part, frozen=True):
    """The breathing device's beep."""

    tone: Hertz | None = None
    sounder: Line = ""


class Armed(_Part, frozen=True):
    """Do the device's own instructions tell of this alarm?"""

    lead_disconnect: Answer = "unasked"
    battery_critical: Answer = "unasked"
    backup_battery: Answer = "unasked"


class Care(_Part, frozen=True):
    """Routines that the family's own clinic told of; each is reminded of only after a "yes". See `routine`, too."""

    battery: Answer = "unasked"
    battery_hours: Annotated[float, msgspec.Meta(ge=1, le=100_000)] = 500.0
    """Hours of use that a main battery lasts (common practice, no source; other devices and clinics differ)."""
    hours_a_day: Annotated[float, msgspec.Meta(ge=0.25, le=24)] | None = None
    battery_ahead: Annotated[int, msgspec.Meta(ge=0, le=60)] = 3
    """Days before the forecast on which a word is said (judgement)."""
    exit_site: Answer = "unasked"
    exit_site_days: Annotated[int, msgspec.Meta(ge=1, le=365)] = 3
    """Days from one care to the next (common practice, no source; clinics differ)."""
    remind_from: DayHour = "09:00"
    remind_until: DayHour = "19:00"
    """Hours between which a word may be said: by day only (judgement)."""


class Words(_Part, frozen=True):
    """Words of this household in the messages."""

    emergency: Line = ""
    backup_plan: Line = ""
    messages: Annotated[str, msgspec.Meta(pattern=r"^([A-Za-z]{2,3}(-[A-Za-z0-9]{1,8})*)?$")] = ""


class Setup(_Part, frozen=True):
    """Steps of the guided first run that are done, by name, with a space between."""

    done: Line = ""


class Settings(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """All settings."""

    names: Names = Names()
    home: Home = Home()
    sound: Sound = Sound()
    watching: Watching = Watching()
    history: History = History()
    clips: Clips = Clips()
    hub: Hub = Hub()
    device: Device = Device()
    armed: Armed = Armed()
    care: Care = Care()
    words: Words = Words()
    setup: Setup = Setup()
    ladder: tuple[Rung, ...] = ()
    rota: tuple[Turn, ...] = ()
    command: tuple[Command, ...] = ()
    routine: tuple[OwnRoutine, ...] = ()

    @property
    def disarmed(self) -> tuple[str, ...]:
        """Patterns of the device that its own instructions do not tell of: those answered "no", and no other."""
        armed: dict[str, str] = msgspec.to_builtins(self.armed)
        return tuple(pattern for pattern, answer in armed.items() if answer == "no")


@dataclass(frozen=True, slots=True)
class Key:
    """One setting, told to a person."""

    name: str
    may_be: str
    """What it may be, as an instruction."""
    default: str
    """What holds where nothing is given."""
    waits: bool = False
    """Whether a change waits for the next start of `watch`."""


_CLINIC = "yes or no: does your own clinic say"
_ARMED = "yes or no: do your device's own instructions say this?"
KEYS = (
    Key("names.person", f"a name, up to {LONGEST} letters", "the person"),
    Key("names.caregiver", f"a name, up to {LONGEST} letters", "you"),
    Key("names.second", f"who is called where the caregiver does not answer, up to {LONGEST} letters", "nobody"),
    Key("home.same-room", "yes or no: does the caregiver sleep in the room of the device?", "unknown"),
    Key("sound.microphone", "its name, a part of it, or its number", "the system's own", waits=True),
    Key("sound.speaker", "its name, a part of it, or its number", "the system's own", waits=True),
    Key("sound.tone", "a WAV file of your own to sound in place of the wake tone", "a tone of 520 Hz", waits=True),
    Key("sound.voice", "a folder of WAV files to speak, one an alarm (fire.wav)", "by espeak-ng", waits=True),
    Key("sound.keypad", "a keypad's /dev/input/by-id/... file, for a computer without a terminal", "none", waits=True),
    Key(
        "sound.second-way",
        "a command that plays the sound file {sound} past the sound server",
        "the terminal's bell",
        waits=True,
    ),
    Key("watching.evening", "the hour by which watch is to run, as 22:00", "not looked at", waits=True),
    Key("watching.self-test", "an hour of the day at which the speaker is tried softly, as 13:00", "13:00", waits=True),
    Key("history.folder", "a folder that can be written to", "the system's own", waits=True),
    Key("clips.keep", "yes or no: is a short sound of each alarm to be kept, only narrow bands of it?", "yes", True),
    Key("clips.days", "days after which such a sound is deleted, 1 to 3650", "60", True),
    Key("clips.megabytes", "megabytes that all of them may take, 1 to 10000", "100", True),
    Key("hub.host", "the name or address of your hub's MQTT broker", "no hub", True),
    Key("hub.port", "its port, 1 to 65535", "8883", True),
    Key("hub.topic", "letters, digits, - and _, with / between: what the topics begin with", "beepwatch", True),
    Key("hub.user", "the name that the broker knows beepwatch by", "none", True),
    Key("hub.password-file", "a file whose first line is the password, readable for you alone", "none", True),
    Key("hub.tls", "yes, or no where the broker is on this computer itself", "yes", True),
    Key("hub.ca-file", "a PEM file with the authority of the broker's certificate", "those of the system", True),
    Key("device.tone", "the tone of your device in Hz, 400 to 5000", "as taught"),
    Key("device.sounder", "the name of the taught beep that is your device's", "the first taught"),
    Key("armed.lead-disconnect", _ARMED, "unasked: it is named", waits=True),
    Key("armed.battery-critical", _ARMED, "unasked: it is named", waits=True),
    Key("armed.backup-battery", _ARMED, "unasked: it is named", waits=True),
    Key("care.battery", f"{_CLINIC} to change the main battery by hours of use?", "unasked: no reminders"),
    Key("care.battery-hours", "hours of use that your clinic told you for a main battery, 1 to 100000", "500"),
    Key("care.hours-a-day", "hours a day that the main battery is in use, 0.25 to 24", "not told: no forecast"),
    Key("care.battery-ahead", "days before the forecast on which to remind you, 0 to 60", "3"),
    Key("care.exit-site", f"{_CLINIC} to do exit-site care by a rhythm?", "unasked: no reminders"),
    Key("care.exit-site-days", "days from one exit-site care to the next, 1 to 365", "3"),
    Key("care.remind-from", "the hour from which to remind you, 06:00 to 21:59", "09:00"),
    Key("care.remind-until", "the hour until which to remind you, 06:00 to 21:59", "19:00"),
    Key("words.emergency", "the number to call, as it is to be spoken", "your local emergency number"),
    Key("words.backup-plan", "what your family calls its plan", "your backup breathing plan"),
    Key("words.messages", "the tag of a language whose file is in the folder `languages` of the settings", "en", True),
)
"""Every setting that a person may give, in order. `setup.done` is kept by `setup` itself."""
NUMBERS: dict[str, type[float] | type[int]] = {
    "device.tone": float,
    "clips.days": int,
    "clips.megabytes": int,
    "hub.port": int,
    "care.battery-hours": float,
    "care.hours-a-day": float,
    "care.battery-ahead": int,
    "care.exit-site-days": int,
}
"""Those that are no text."""
BY_NAME = {key.name: key for key in (*KEYS, Key("setup.done", "names of steps with a space between", ""))}


def decode(text: str, origin: str = "settings.toml") -> Settings:
    """The settings in a TOML text. Raises InputError, one line: key, value and remedy, after `origin`."""
    return checked(_parsed(text, origin), origin)


def given(text: str, origin: str = "settings.toml") -> frozenset[str]:
    """The keys that a TOML text gives, as "names.person". Raises InputError for a text that is no TOML."""
    return frozenset(
        f"{table}.{key}"
        for table, content in _parsed(text, origin).items()
        if isinstance(content, dict)
        for key in content
    )


def checked(raw: dict[str, object], origin: str) -> Settings:
    """The settings in plain tables. Raises InputError as `decode`."""
    for table, content in raw.items():
        if table in ROWS:
            check_rows(table, content, origin)
            continue
        for key in content if isinstance(content, dict) else (None,):
            name = table if key is None else f"{table}.{key}"
            if name not in BY_NAME:
                raise InputError(f"{origin}: {unknown(name)}")
            one = content[key] if isinstance(content, dict) and key is not None else content
            _check_one(table, str(key), one, origin)
    made = msgspec.convert(raw, Settings)
    check_ladder(made.ladder, made.command, origin)
    _check_hub(made.hub, origin)
    check_routines(made.routine, origin)
    return made


def _check_hub(hub: Hub, origin: str) -> None:
    """Raise InputError for a hub that would carry alarms in the open, or let anybody answer them."""
    if not hub.host or hub.host in LOOPBACK:
        return
    if hub.tls == "no":
        raise InputError(
            f"{origin}: hub.tls = 'no' is only for a broker on this computer: give yes, and a port with TLS"
        )
    if not (hub.user and hub.password_file):
        raise InputError(
            f"{origin}: hub.host needs hub.user and hub.password-file: a broker that lets anybody in will not do"
        )


def parse(name: str, text: str) -> str | float:
    """The value of setting `name` that a person wrote as `text`. Raises InputError: key, value, remedy."""
    if name not in BY_NAME:
        raise InputError(unknown(name))
    value: str | float = text.strip()
    if name in NUMBERS:
        try:
            value = NUMBERS[name](text)
        except ValueError:
            value = text
    table, _, key = name.partition(".")
    _check_one(table, key, value, "")
    return value


def value_of(settings: Settings, name: str) -> Value:
    """What holds for setting `name`: None or "" where it is left to the default. Raises KeyError for another."""
    table, _, key = name.partition(".")
    value: Value = msgspec.to_builtins(settings)[table][key]
    return value


def unknown(name: str) -> str:
    """One line about a key that there is not."""
    near = difflib.get_close_matches(name, BY_NAME, n=1)
    hint = f"did you mean {near[0]}? " if near else ""
    return f"{name} is no setting: {hint}`beepwatch settings` lists them all"


def _check_one(table: str, key: str, value: object, origin: str) -> None:
    """Raise InputError unless the value is one that this key may have."""
    try:
        msgspec.convert({table: {key: value}}, Settings)
    except msgspec.ValidationError as error:
        where = f"{origin}: " if origin else ""
        name = f"{table}.{key}"
        raise InputError(f"{where}{name} = {value!r} cannot be: give {BY_NAME[name].may_be}") from error


def _parsed(text: str, origin: str) -> dict[str, object]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"{origin} is no TOML ({error}): mend that line, or move the file away") from error
