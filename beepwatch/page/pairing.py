"""Which devices may see the page and answer: one-time codes, and tokens of which only hashes are kept.

One SQLite file, for `watch` and `beepwatch paired` use it at once. Wall-clock times are seconds of the epoch, for
other processes have to understand them; every method takes `now`.
"""

import secrets
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import Literal, TypeAlias
from urllib.parse import quote

from beepwatch.errors import RecordsError

FILE = "paired.sqlite3"
CODE_LASTS = 300.0
"""s that a code holds: five minutes, below the ten of OWASP ASVS 4.0.3, item 2.7.2."""
ALPHABET = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"
"""Letters of a code: none that is taken for another when read aloud or typed (no 0 O 1 I L)."""
LETTERS = 16
"""Of a code: 79 bits, above the 20 of ASVS 2.7.6."""
TOKEN_BYTES = 32
"""Of a device's token: 256 bits, above the 64 of ASVS 3.2.2."""
UNUSED = 90 * 86400.0
"""s that a device may stay away before it has to be paired anew (judgement: a season)."""
SEEN_EACH = 3600.0
"""s between two notes that a device was seen: few writes to the disk."""
LONGEST = 40
"""Letters of a device's name."""
Kind: TypeAlias = Literal["phone", "bedside"]


@dataclass(frozen=True, slots=True)
class Device:
    """A device that was paired. Its token is not here, nor anywhere on this computer: only its hash is."""

    number: int
    """Counts from 1; never given twice."""
    name: str
    """Whose it is, as it was told at pairing: who "goes" when it answers."""
    kind: Kind
    paired: float
    seen: float
    revoked: float | None = None

    def valid(self, now: float) -> bool:
        """Whether it may come in at `now`: not revoked, and not away for too long."""
        return self.revoked is None and now - self.seen <= UNUSED


class Pairing:
    """The paired devices of one household; a connection a call, so it may be used from any thread.

    Raises RecordsError, one line, where its file cannot be used.
    """

    def __init__(self, folder: Path) -> None:
        """Open or make the file in `folder`, for its owner alone."""
        self._path = folder / FILE
        with self._told():
            folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            self._path.touch(mode=0o600)
            self._path.chmod(0o600)
        with self._open() as base:
            base.execute("CREATE TABLE IF NOT EXISTS code (hash TEXT PRIMARY KEY, made REAL NOT NULL)")
            base.execute(
                "CREATE TABLE IF NOT EXISTS device (number INTEGER PRIMARY KEY AUTOINCREMENT,"
                " hash TEXT UNIQUE NOT NULL, name TEXT NOT NULL,"
                " kind TEXT NOT NULL, paired REAL NOT NULL, seen REAL NOT NULL, revoked REAL)"
            )

    def new_code(self, now: float) -> str:
        """A fresh one-time code of 16 letters; it holds five minutes, and ends every code before it."""
        code = "".join(secrets.choice(ALPHABET) for _ in range(LETTERS))
        with self._open() as base:
            base.execute("DELETE FROM code")
            base.execute("INSERT INTO code VALUES (?, ?)", (_hash(code), now))
        return code

    def open(self, now: float) -> bool:
        """Whether a code is waiting to be used."""
        with self._open() as base:
            rows = base.execute("SELECT made FROM code").fetchall()
        return any(_fresh(made, now) for (made,) in rows)

    def exchange(self, code: str, name: str, kind: Kind, now: float) -> tuple[Device, str] | None:
        """The device and its token for a code that holds, which is used up by this; None for any other."""
        with self._open() as base:
            found = base.execute("DELETE FROM code WHERE hash = ? RETURNING made", (_hash(tidy_code(code)),)).fetchone()
            if found is None or not _fresh(found[0], now):
                return None
            token = secrets.token_urlsafe(TOKEN_BYTES)
            told = tidy_name(name) or f"the {kind}"
            number = base.execute(
                "INSERT INTO device (hash, name, kind, paired, seen) VALUES (?, ?, ?, ?, ?)",
                (_hash(token), told, kind, now, now),
            ).lastrowid
        return Device(number or 0, told, kind, now, now), token

    def device(self, token: str, now: float) -> Device | None:
        """The device with this token if it may come in at `now`; None for a forged, revoked or expired one."""
        with self._open() as base:
            row = base.execute(f"SELECT {_COLUMNS} FROM device WHERE hash = ?", (_hash(token),)).fetchone()  # noqa: S608
        found = None if row is None else Device(*row)
        return found if found is not None and found.valid(now) else None

    def saw(self, device: Device, now: float) -> None:
        """It was here at `now`."""
        if now - device.seen >= SEEN_EACH:
            with self._open() as base:
                base.execute("UPDATE device SET seen = ? WHERE number = ?", (now, device.number))

    def devices(self) -> list[Device]:
        """All that were ever paired, by number."""
        with self._open() as base:
            rows = base.execute(f"SELECT {_COLUMNS} FROM device ORDER BY number").fetchall()  # noqa: S608
        return [Device(*row) for row in rows]

    def revoke(self, number: int, now: float) -> bool:
        """Shut a device out from now on; False where there is none of this number, or it was shut out before."""
        with self._open() as base:
            done = base.execute(
                "UPDATE device SET revoked = ? WHERE number = ? AND revoked IS NULL", (now, number)
            ).rowcount
        return done == 1

    @contextmanager
    def _open(self) -> Iterator[sqlite3.Connection]:
        """One transaction."""
        with self._told():
            base = sqlite3.connect(self._path, timeout=2.0)
            try:
                with base:
                    yield base
            finally:
                base.close()

    @contextmanager
    def _told(self) -> Iterator[None]:
        try:
            yield
        except (sqlite3.Error, OSError) as error:
            raise RecordsError(
                f"the list of paired devices {self._path} cannot be used ({error}): move it away, then pair again"
            ) from error


_COLUMNS = "number, name, kind, paired, seen, revoked"


def link(address: str, port: int, code: str, fingerprint: str = "") -> str:
    """What a phone opens to be paired: the code is in the fragment, which no browser sends and no log can hold.

    address: a name or IPv4 address. fingerprint: with it, a bedside computer can also be sure of whom it talks to.
    """
    host = f"[{address}]" if ":" in address else address
    tail = f"~{fingerprint}" if fingerprint else ""
    return f"https://{host}:{port}/pair#{quote(code)}{tail}"


def tidy_code(code: str) -> str:
    """A code as it was made, from how a person typed it."""
    return "".join(letter for letter in code.upper() if letter in ALPHABET)


def tidy_name(name: str) -> str:
    """A name on one line: no control characters, no direction marks, at most 40 letters."""
    return " ".join("".join(c if c.isprintable() else " " for c in name).split())[:LONGEST]


def _fresh(made: float, now: float) -> bool:
    """A clock that was set back makes a code no younger: it ends it."""
    return 0.0 <= now - made < CODE_LASTS


def _hash(secret: str) -> str:
    """Enough for a random secret of 79 or 256 bits: there is no dictionary of those (ASVS 2.4 is for passwords)."""
    return sha256(secret.encode("utf-8", "replace")).hexdigest()
