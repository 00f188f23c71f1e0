"""Quiet for libraries that print by themselves."""

import os
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def hushed() -> Iterator[None]:
    """Keep back what a C library writes straight to standard error meanwhile: we say it ourselves, in one line."""
    try:
        kept = os.dup(2)
    except OSError:  # standard error is closed: nothing to keep quiet
        yield
        return
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 2)
        yield
    finally:
        os.dup2(kept, 2)
        os.close(nowhere)
        os.close(kept)
