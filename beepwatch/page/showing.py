"""What the computer's screen shows for pairing: a QR code of half-block letters, the link, the fingerprint."""

import io

from beepwatch.page.authority import grouped
from beepwatch.page.pairing import link


def qr(text: str) -> str:
    """A QR code as lines for a terminal, two modules a letter high."""
    import segno  # noqa: PLC0415 - only for pairing

    out = io.StringIO()
    segno.make(text, error="m", micro=False).terminal(out, border=2, compact=True)
    return out.getvalue()


def pairing_words(address: str, port: int, code: str, fingerprint: str) -> str:
    """All that is needed to pair a phone or a bedside computer now. fingerprint: of the authority, 64 hex digits."""
    spelt = "-".join(code[i : i + 4] for i in range(0, len(code), 4))
    return (
        f"{qr(link(address, port, code))}\n"
        f"To pair a phone within five minutes, once: scan this, or open https://{address}:{port}/pair\n"
        f"and type the code {spelt}. For another computer that shall sound beside you:\n"
        f"  beepwatch bedside '{link(address, port, code, fingerprint)}'\n"
        f"Fingerprint of your household's certificate (SHA-256), to compare on the phone:\n"
        f"  {grouped(fingerprint)}\n"
    )
