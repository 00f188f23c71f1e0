"""A second computer, beside the caregiver: paired with the one that listens, it wakes by its own speaker.

It looks after the link by itself: where nothing comes for some seconds, that is an alarm here, whatever the
connection claims.
"""
