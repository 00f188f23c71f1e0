"""`beepwatch` with one fault put into it, from 6 s after it has begun to listen on and for 14 s.

python -m tests.live.sick FAULT watch ...
    slow      the recogniser takes twice as long as the sound lasts
    raises    it fails on each block
    hangs     it does not return
    clock     the wall clock is set by an hour (and stays)
    mains     the computer runs on its battery
    disk      the disk is full
"""

import sys
import time
from collections.abc import Callable, Sequence
from datetime import UTC, datetime, timedelta
from functools import partial

from beepwatch.cli import main
from beepwatch.events import Event
from beepwatch.recognizer import Recognizer
from beepwatch.sources.block import Samples
from beepwatch.watch import assembly, loop, upkeep
from beepwatch.watch.power import Power
from beepwatch.watch.timeline import Clock

BEGINS, LASTS = 6.0, 14.0


class Fault:
    """Whether it is there now; the first look starts its clock. Tells when it begins and ends."""

    def __init__(self, lasts: float) -> None:
        self._first: float | None = None
        self._lasts, self._told = lasts, 0

    @property
    def now(self) -> bool:
        """Ask it."""
        self._first = self._first or time.monotonic()
        age = time.monotonic() - self._first
        stage = (age > BEGINS) + (age > BEGINS + self._lasts)
        if stage != self._told:
            self._told = stage
            print(("", "THE FAULT BEGINS", "THE FAULT ENDS")[stage], flush=True)
        return stage == 1

    @property
    def begun(self) -> bool:
        """Whether it has ever been there."""
        return self.now or self._told > 0


def sick_recognizer(fault: Fault, ill: Callable[[Samples], None]) -> type[Recognizer]:
    """The recogniser, which does `ill` with each block before it hears it, while the fault lasts."""

    class Sick(Recognizer):
        """Looks like the real one."""

        def push(self, samples: Samples) -> Sequence[Event]:  # type: ignore[override]
            if fault.now:
                ill(samples)
            return super().push(samples)

    return Sick


def fails(_: Samples) -> None:
    """As a fault in the program would."""
    raise RuntimeError("a fault put in by a test")


def poison(name: str, fault: Fault) -> None:
    """Put it in."""
    if name in ("slow", "raises", "hangs"):
        ill: dict[str, Callable[[Samples], None]] = {
            "slow": lambda samples: time.sleep(2 * len(samples) / 16_000),
            "raises": fails,
            "hangs": lambda _: time.sleep(LASTS),
        }
        vars(assembly)["Recognizer"] = sick_recognizer(fault, ill[name])
    elif name == "clock":
        set_clock = partial(Clock, wall=lambda: datetime.now(UTC) + timedelta(hours=1) * fault.begun)
        vars(loop)["Clock"] = set_clock
    else:
        world = upkeep.World(
            power=lambda: Power(name == "mains" and fault.now, 42.0),
            free=lambda _: 1e6 if name == "disk" and fault.now else 1e12,
        )
        vars(upkeep)["World"] = lambda: world


if __name__ == "__main__":
    lasting = {"mains": 75.0, "disk": 75.0}
    poison(sys.argv[1], Fault(lasting.get(sys.argv[1], LASTS)))
    sys.exit(main(sys.argv[2:]))
