"""A process with a `Speaker` in it, steered by lines on its input; it prints each report as a line of JSON.

`play NUMBER TEXT` sounds a round with this one line of speech, `stop` ends it, `close` ends the process. Each
command is answered by how long the call took. Times are monotonic seconds, which all processes share on Linux.
"""

import json
import sys
import time
from threading import Lock

from beepwatch.channels.rounds import Round
from beepwatch.channels.speaker import Speaker, SpeakerReport
from beepwatch.channels.voice import Voice

_printing = Lock()


def tell(kind: str, **more: object) -> None:
    """Print one line."""
    with _printing:
        print(json.dumps({"kind": kind} | more), flush=True)


def told(report: SpeakerReport) -> None:
    """Print a report of the speaker."""
    tell(type(report).__name__, at=report.at, text=getattr(report, "text", ""))


def main() -> None:
    """Obey until `close` or the end of the input."""
    voice = Voice(lambda text: tell("Mute", text=text))
    speaker = Speaker(told, device="pulse", voice=voice)
    voice.prepare(line.strip() for line in sys.argv[1:])
    voice.wait(20)
    tell("Ready")
    for line in sys.stdin:
        command, _, rest = line.strip().partition(" ")
        began = time.monotonic()
        if command == "play":
            number, _, text = rest.partition(" ")
            speaker.play(Round((int(number),), "high", (text,) if text else ()))
        elif command == "stop":
            speaker.stop()
        else:
            tell("Closed", well=speaker.close())
            return
        tell("Done", at=began, took=time.monotonic() - began)


if __name__ == "__main__":
    main()
