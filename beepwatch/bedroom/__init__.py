"""Knowing the household: its device's beep, its microphone, its room."""
