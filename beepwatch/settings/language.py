"""The messages in another language than English: a file in the folder `languages` of the settings."""

from pathlib import Path

from beepwatch.errors import InputError
from beepwatch.settings.model import Settings
from beepwatch.waking.catalogue import ENGLISH, Catalogue, read

FOLDER = "languages"


def catalogue_of(settings: Settings, folder: Path) -> Catalogue | None:
    """The catalogue that `words.messages` names; None for English. Raises InputError, one line, where it is no use."""
    tag = settings.words.messages
    if not tag or tag == ENGLISH:
        return None
    path = folder / FOLDER / f"{tag}.toml"
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        reason = error.strerror if isinstance(error, OSError) else "it is no UTF-8 text"
        raise InputError(f"words.messages = {tag!r}, but {path} cannot be read ({reason})") from error
    return read(text, str(path))
