"""Hearing: samples in, beeps out (`listener.Hearing`); how far above the limit a beep stands (`margin_db`)."""

from .listener import Hearing
from .margin import ideal_recall, margin_db
from .spectrum import RATE

__all__ = ["RATE", "Hearing", "ideal_recall", "margin_db"]
