"""Does a sound file end before its own header says it should? What the header of each kind tells."""

import re
from pathlib import Path

UNKNOWN = 0x7FFFF000
"""Lengths from here up mean "not known": recorders into a pipe write them (common practice, no source)."""
SIZE = re.compile(r"^\s*(?:data|SSND|Data Size|Riff size|riff)\s*: (\d+) \(should be (\d+)\)", re.MULTILINE)
COUNT = re.compile(r"frame count (\d+) does not match value from 'ds64' chunk of (\d+)")
OGG_PAGE = 65307
"""Longest page in bytes: a header of 27, 255 lengths, 255 x 255 of data (RFC 3533 section 6, from memory)."""
OGG_LAST = 4
"""Bit of a page's flags that marks the last page of the stream (same)."""


def cut_short(path: Path, kind: str, info: str) -> bool:
    """Whether the file at `path` was cut off, as far as its header or its last page shows.

    kind, info: format name and log of libsndfile ("WAV", "data : 96000 (should be 47978)").
    FLAC and MP3 show it only while they are read, so False for these.
    """
    if kind == "OGG":
        return not _ogg_ends(path)
    sizes = [(int(said), int(found)) for said, found in SIZE.findall(info)]
    counts = [(int(said), int(found)) for found, said in COUNT.findall(info)]
    return any(found < said < UNKNOWN for said, found in sizes + counts)


def _ogg_ends(path: Path) -> bool:
    """Whether the file's last page is whole and marked as the last."""
    with path.open("rb") as file:
        file.seek(max(0, path.stat().st_size - OGG_PAGE))
        tail = file.read()
    page = tail[tail.rfind(b"OggS") :]
    if len(page) < 27 or not page[5] & OGG_LAST:
        return False
    lengths = page[27 : 27 + page[26]]
    return len(page) >= 27 + page[26] + sum(lengths)
