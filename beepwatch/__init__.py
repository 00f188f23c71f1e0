"""beepwatch: an extra pair of ears for the beeps of a breathing stimulator at night.

Not tested or approved as a medical device. Silence does not mean all is well.
"""

__version__ = "0.1.0"
