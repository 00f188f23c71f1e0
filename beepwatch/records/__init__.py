"""The history: one SQLite file with the hours listened and the alarms heard.

`store` writes, `journal` keeps what could not be written yet, `reading` reads, `listened` adds up the hours.
"""
