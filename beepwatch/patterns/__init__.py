"""Patterns: from beeps to named alarms, by evidence. Pure: no clock, no file, no thread."""

from beepwatch.patterns.matcher import Matcher

__all__ = ["Matcher"]
