"""The settings' file and the sounders' files on this machine: reading, and edits that keep a person's comments."""

from collections.abc import Mapping
from pathlib import Path

from platformdirs import user_config_path

from beepwatch.errors import InputError
from beepwatch.records.whole import put_whole
from beepwatch.settings.model import BY_NAME, Settings, checked, decode, given, parse, unknown
from beepwatch.settings.sounder import Sounder
from beepwatch.settings.sounder import read as read_sounder

FILE = "settings.toml"
SOUNDERS = "sounders"
HEAD = "Settings of beepwatch. `beepwatch settings` shows each one and what it may be."


def config_folder(chosen: Path | None = None) -> Path:
    """Where the settings are: `chosen` or the platform's own folder for this user; nothing is made."""
    return user_config_path("beepwatch", appauthor=False) if chosen is None else chosen


def data_set(settings: Settings, given: Path | None = None) -> Path | None:
    """The folder of the history and the checks: `given` on the command line, else as set; None: the platform's own."""
    kept = settings.history.folder
    return given or (Path(kept).expanduser() if kept else None)


def load(folder: Path) -> tuple[Settings, frozenset[str]]:
    """(settings, keys that the file gives); all defaults where there is no file. Raises InputError, one line."""
    text = _text(folder / FILE)
    return decode(text, str(folder / FILE)), given(text, str(folder / FILE))


def load_sounders(folder: Path) -> list[Sounder]:
    """Every taught sounder, by name. Raises InputError for a file that is none, or a name that comes twice."""
    found: dict[str, Sounder] = {}
    for path in sorted((folder / SOUNDERS).glob("*.toml")):
        one = read_sounder(_text(path), str(path))
        if one.name in found:
            raise InputError(f"{path}: there is another sounder named {one.name}; remove one of the two files")
        found[one.name] = one
    return [found[name] for name in sorted(found)]


def change(folder: Path, name: str, text: str | None) -> None:
    """Set one setting (None: leave it to the default again); comments and order stay. Raises InputError."""
    import tomlkit  # noqa: PLC0415 - only for edits

    if name not in BY_NAME:
        raise InputError(unknown(name))
    value = None if text is None else parse(name, text)
    path = folder / FILE
    old = _text(path)
    decode(old, str(path))  # a file with a mistake in it is not edited over
    document = tomlkit.parse(old or f"# {HEAD}\n")
    table, _, key = name.partition(".")
    if value is not None:
        document.setdefault(table, tomlkit.table())[key] = value
    elif key in document.get(table, {}):
        del document[table][key]
    checked(document.unwrap(), str(path))
    write(path, tomlkit.dumps(document))


def keep_row(folder: Path, table: str, name: str, row: Mapping[str, str | int] | None) -> None:
    """Put a row of a list of tables, such as `[[routine]]`, in place of the one of that name, or behind the last.

    row None: take it out. Comments and order stay. Raises InputError, one line.
    """
    import tomlkit  # noqa: PLC0415 - only for edits

    path = folder / FILE
    old = _text(path)
    decode(old, str(path))  # a file with a mistake in it is not edited over
    document = tomlkit.parse(old or f"# {HEAD}\n")
    rows = document.setdefault(table, tomlkit.aot())
    at = next((place for place, one in enumerate(rows) if one.get("name") == name), None)
    if row is not None and at is not None:
        rows[at].update(row)
    elif row is not None:
        rows.append(tomlkit.item(dict(row)))
    elif at is not None:
        del rows[at]
    checked(document.unwrap(), str(path))
    write(path, tomlkit.dumps(document))


def sounder_text(one: Sounder) -> str:
    """A sounder as the text of its file; what is not known is left out."""
    import msgspec  # noqa: PLC0415
    import tomlkit  # noqa: PLC0415

    document = tomlkit.document()
    document.add(tomlkit.comment("A beep taught to beepwatch. Tone in Hz, harmonics in dB, times in s, level in dBFS."))
    for key, value in msgspec.to_builtins(one).items():
        if value is not None:  # TOML has no null
            document.add(key, value)
    return tomlkit.dumps(document)


def keep_sounder(folder: Path, one: Sounder) -> Path:
    """Write a sounder's file, in place of one of the same name; return where. Raises InputError."""
    path = folder / SOUNDERS / f"{one.name}.toml"
    text = sounder_text(one)
    read_sounder(text, one.name)  # what could not be read again is not written
    write(path, text)
    return path


def forget_sounder(folder: Path, name: str) -> None:
    """Remove a sounder's file. Raises InputError where there is none of that name."""
    if name not in {one.name for one in load_sounders(folder)}:
        raise InputError(f"there is no taught beep named {name!r}: `beepwatch teach --list` tells the names")
    (folder / SOUNDERS / f"{name}.toml").unlink(missing_ok=True)


def write(path: Path, text: str) -> None:
    """Write a file whole or not at all, readable by this user alone. Raises InputError, one line."""
    try:
        put_whole(path, text.encode())
    except OSError as error:
        raise InputError(f"cannot write {path} ({_reason(error)}): choose another --config DIR") from error


def _text(path: Path) -> str:
    """What a file holds; "" where there is none. Raises InputError, one line."""
    try:
        return path.read_text(encoding="utf-8-sig")  # editors on Windows may begin a file with a mark
    except FileNotFoundError:
        return ""
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(f"cannot read {path} ({_reason(error)}): mend it, or choose another --config DIR") from error


def _reason(error: OSError | UnicodeDecodeError) -> str:
    """Why, in few words."""
    return (error.strerror or str(error)) if isinstance(error, OSError) else "it is no UTF-8 text"
