"""Hearing: samples in, beeps out (`listener.Hearing`)."""

from .listener import Hearing
from .spectrum import RATE

__all__ = ["RATE", "Hearing"]
