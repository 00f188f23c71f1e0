"""What the computer's screen shows for pairing: a QR code of half-block letters, the link, the fingerprint."""

import io

from beepwatch.page.authority import grouped
from beepwatch.page.pairing import link


def qr(text: str, coloured: bool = False) -> str:
    """A QR code as lines for a terminal, two modules a letter high, light modules drawn.

    coloured: bright white on black whatever the terminal's own colours are, for not every phone reads a negative.
    """
    import segno  # noqa: PLC0415 - only for pairing

    out = io.StringIO()
    segno.make(text, error="m", micro=False).terminal(out, border=2, compact=True)
    lines = out.getvalue().rstrip("\n").splitlines()
    return "\n".join(f"\x1b[97;40m{line}\x1b[0m" if coloured else line for line in lines)


def pairing_words(address: str, port: int, code: str, fingerprint: str, coloured: bool = False) -> str:
    """All that is needed to pair a phone or a bedside computer now.

    fingerprint: of the authority, 64 hex digits. coloured: see `qr`.
    """
    spelt = "-".join(code[i : i + 4] for i in range(0, len(code), 4))
    return (
        f"{qr(link(address, port, code), coloured)}\n"
        f"To pair a phone within five minutes, once: scan this, or open https://{address}:{port}/pair\n"
        f"and type the code {spelt}. For another computer that shall sound beside you:\n"
        f"  beepwatch bedside '{link(address, port, code, fingerprint)}'\n"
        f"Fingerprint of your household's certificate (SHA-256), to compare on the phone:\n"
        f"  {grouped(fingerprint)}\n"
    )
