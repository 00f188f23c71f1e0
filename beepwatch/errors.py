"""All errors that beepwatch raises on purpose; each message is one line that says what to do.

BeepwatchError
|- InputError             a file, setting or scenario that cannot be used         exit code 2
|- SamplesError           samples of a wrong shape or kind (a ValueError too)
|- CannotHear             the microphone does not deliver
|  `- NoMicrophone        it could not be opened                                  exit code 2 at start
|- CannotWake             a way of waking somebody failed
`- RecordsError           the history cannot be read or written                   exit code 2 at start
"""


class BeepwatchError(Exception):
    """Anything that beepwatch says in one line instead of a traceback."""


class InputError(BeepwatchError):
    """A file, a setting or a scenario that cannot be used."""


class SamplesError(BeepwatchError, ValueError):
    """Samples of a wrong shape or kind were pushed; the state is as it was."""


class CannotHear(BeepwatchError):  # noqa: N818 - reads as what it means
    """The microphone does not deliver sound."""


class NoMicrophone(CannotHear):
    """The microphone could not be opened."""


class CannotWake(BeepwatchError):  # noqa: N818 - reads as what it means
    """A way of waking somebody failed."""


class RecordsError(BeepwatchError):
    """The history cannot be read or written."""
