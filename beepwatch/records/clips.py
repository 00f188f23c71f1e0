"""The folder of evidence clips beside the history file."""

FOLDER = "clips"
"""Its name."""
