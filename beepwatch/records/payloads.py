"""Texts that may be deleted on request: the chained rows hold only their hashes."""

import hashlib
import os
import sqlite3

from beepwatch.records.rows import plain

SALT = 16
"""Bytes of chance before a text is hashed: 128 bits, as NIST SP 800-132 (5.1) asks of a salt."""


def keep(connection: sqlite3.Connection, kind: str, text: str) -> bytes:
    """Keep a text within the transaction under way; return its hash."""
    salt = os.urandom(SALT)
    held = plain(text)
    digest = hash_of(salt, held)
    connection.execute("INSERT INTO payload VALUES (?, ?, ?, ?)", (digest, kind, salt, held))
    return digest


def hash_of(salt: bytes, text: str) -> bytes:
    """SHA-256 of salt and text."""
    return hashlib.sha256(salt + text.encode("utf-8")).digest()
