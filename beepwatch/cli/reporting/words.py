"""Times, tones and counts as a person reads them."""


def clock(seconds: float) -> str:
    """A place in a file: `0:24`, `1:02:03`."""
    whole = max(int(seconds), 0)
    hours, minutes, rest = whole // 3600, whole // 60 % 60, whole % 60
    return f"{hours}:{minutes:02}:{rest:02}" if hours else f"{minutes}:{rest:02}"


def lasted(seconds: float) -> str:
    """A length of time in its two largest units: `0.4 s`, `48 s`, `5 min 0 s`, `8 h 2 min`."""
    if seconds < 9.95:
        return f"{max(seconds, 0):.1f} s"
    whole = round(seconds)
    if whole < 60:
        return f"{whole} s"
    if whole < 3600:
        return f"{whole // 60} min {whole % 60} s"
    return f"{whole // 3600} h {whole // 60 % 60} min"


def tone(frequency: float) -> str:
    """A frequency, Hz: `520 Hz`, `2.73 kHz`."""
    return f"{frequency:.0f} Hz" if frequency < 1000 else f"{frequency / 1000:.2f} kHz"


def count(number: int, what: str) -> str:
    """`1 beep`, `12 beeps`."""
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def named(pattern: str) -> str:
    """A pattern's name as words: `Lead disconnect`."""
    return printable(pattern.replace("-", " ").capitalize())


def printable(given: str) -> str:
    """Text without characters that could steer a terminal."""
    return "".join(letter if letter.isprintable() else "?" for letter in given)
