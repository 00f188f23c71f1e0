"""The page's server in a process of its own, steered by lines: `python -m tests.bench.serving PORT HOST`.

Each command is answered by one JSON line with the wall clock (s of the epoch): `alarm N` puts one up, `clear` takes it
away, `fast COUNT RATE` puts up so many states at so many a second, `memory` tells the resident set in MB, `code` a
pairing code, `token` a paired device's token. Between commands a state is put up each half second, as the loop does.
"""

import json
import os
import sys
import tempfile
import time
from pathlib import Path
from threading import Event, Lock, Thread

from tests.page.house import House, open_alarm


class Serving:
    """One server and its beat."""

    def __init__(self, folder: Path, port: int, host: str) -> None:
        self.house = House(folder, port, host)
        self.house.page.start()
        self._lock, self._over = Lock(), Event()
        Thread(target=self._beat, daemon=True).start()

    def do(self, command: str, *words: str) -> object:
        """One command; what there is to tell of it."""
        if command == "alarm":
            return self._post(alarms=(open_alarm(int(words[0])),))
        if command == "clear":
            return self._post(alarms=())
        if command == "fast":
            return self._fast(int(words[0]), float(words[1]))
        if command == "memory":
            return memory()
        if command == "token":
            found = self.house.page.pairing.exchange(self.house.code(), "x", "phone", time.time())
            return found[1] if found else ""
        return self.house.code()

    def _post(self, **changes: object) -> float:
        """s that putting it up took the loop."""
        began = time.perf_counter()
        with self._lock:
            self.house.post(**changes)
        return time.perf_counter() - began

    def _fast(self, count: int, rate: float) -> list[float]:
        """Mean and worst s of a post; kept as two numbers, for a list of all would look like a leak."""
        total = worst = 0.0
        began = time.perf_counter()
        for i in range(count):
            levels = tuple(-70.0 + (i + j) % 9 for j in range(48))
            took = self._post(levels=levels)
            total, worst = total + took, max(worst, took)
            time.sleep(max(0.0, began + i / rate - time.perf_counter()))
        return [total / count, worst]

    def _beat(self) -> None:
        while not self._over.wait(0.5):
            self._post()


def memory() -> float:
    """Resident set, MB."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def main() -> None:
    """Serve until the input ends."""
    with tempfile.TemporaryDirectory() as folder:
        serving = Serving(Path(folder), int(sys.argv[1]), sys.argv[2])
        print(json.dumps({"at": time.time(), "told": serving.house.page.port}), flush=True)
        for line in sys.stdin:
            at = time.time()
            print(json.dumps({"at": at, "told": serving.do(*line.split())}), flush=True)
        serving.house.close()


if __name__ == "__main__":
    main()
