"""How quick the page is and what it costs: `python -m tests.bench.page [--quick] [--only latency|cut|crowd|leaks]`.

latency  an alarm is put up -> the browser shows it (a mutation of the page's one line), 50 times: median, worst
cut      a cable between two network namespaces is cut -> the page says NOT LISTENING, 10 times
crowd    the same alarm at one plain client, alone and beside 50 open pages; memory of the server for each
leaks    57 600 states, as in 8 hours, at 200 a second: memory of the server, of the page, its nodes and listeners
All processes share one machine, and so one clock. JSON goes to tests/bench/results/page.json.
"""

import argparse
import contextlib
import json
import ssl
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from http.client import HTTPSConnection
from pathlib import Path
from statistics import median
from threading import Thread
from typing import Any

from playwright.sync_api import Page, expect

from beepwatch.page.gate import COOKIE
from tests.live import wires
from tests.page.browser import CHROMIUM, SOON, chromium, phone

ROOT = Path(__file__).parents[2]
RESULT = Path(__file__).parent / "results" / "page.json"
WATCH = """() => {
  window.seen = [];
  new MutationObserver(() => window.seen.push([line.textContent, (performance.timeOrigin + performance.now()) / 1000]))
    .observe(document.getElementById('line'), {childList: true, characterData: true, subtree: true});
}"""


class Server:
    """`tests.bench.serving` as a process."""

    def __init__(self, port: int = 0, host: str = "127.0.0.1", prefix: tuple[str, ...] = ()) -> None:
        self._process = subprocess.Popen(
            [*prefix, sys.executable, "-m", "tests.bench.serving", str(port), host],
            cwd=ROOT, text=True, stdin=subprocess.PIPE, stdout=subprocess.PIPE,
        )  # fmt: skip
        self.port = int(self._answer()["told"])

    def do(self, command: str) -> dict[str, Any]:
        """One command and its answer."""
        assert self._process.stdin is not None
        self._process.stdin.write(command + "\n")
        self._process.stdin.flush()
        return self._answer()

    def close(self) -> None:
        """End it."""
        self._process.kill()
        self._process.communicate()

    def _answer(self) -> dict[str, Any]:
        assert self._process.stdout is not None
        told: dict[str, Any] = json.loads(self._process.stdout.readline())
        return told


@contextlib.contextmanager
def serving(port: int = 0, host: str = "127.0.0.1", prefix: tuple[str, ...] = ()) -> Iterator[Server]:
    """A server process."""
    made = Server(port, host, prefix)
    try:
        yield made
    finally:
        made.close()


def pair(page: Page, server: Server, host: str = "127.0.0.1") -> None:
    """Pair and unlock."""
    code = server.do("code")["told"]
    page.goto(f"https://{host}:{server.port}/pair#{code}")
    page.fill("#name", "Anna")
    page.click("button[type=submit]")
    expect(page.locator("#line")).to_have_text("Listening", timeout=SOON)
    page.click("#unlock-now")
    page.evaluate(WATCH)


def seen(page: Page, word: str) -> float:
    """When the line last became this."""
    expect(page.locator("#line")).to_have_text(word, timeout=30_000)
    moments = [at for text, at in page.evaluate("() => window.seen") if text == word]
    return float(moments[-1])


def spread(values: list[float]) -> dict[str, float | int]:
    """Median, worst and count."""
    return {"median": round(median(values), 5), "worst": round(max(values), 5), "of": len(values)}


def latency(times: int) -> dict[str, object]:
    """s from put up to shown."""
    found = []
    with serving() as server, chromium() as browser, phone(browser) as context:
        page = context.new_page()
        pair(page, server)
        for number in range(1, times + 1):
            time.sleep(0.05 + (number * 0.37) % 1.0)  # anywhere in the beat
            at = server.do(f"alarm {number}")["at"]
            found.append(seen(page, "ALARM") - at)
            server.do("clear")
            seen(page, "Listening")
    return {"raised to shown, s": spread(found)}


def cut(times: int) -> dict[str, object]:
    """s from the cut of a cable to NOT LISTENING."""
    found, healed = [], []
    with wires.cable() as cable, tempfile.TemporaryDirectory() as folder:
        script = cable.script(cable.b, CHROMIUM, Path(folder))
        prefix = tuple(cable.inside(cable.a))
        with (
            serving(8443, wires.LISTENER, prefix) as server,
            chromium(executable=script) as browser,
            phone(browser) as context,
        ):
            page = context.new_page()
            pair(page, server, wires.LISTENER)
            for number in range(times):
                time.sleep((number * 0.37) % 1.0)
                at = time.time()
                cable.cut()
                found.append(seen(page, "NOT LISTENING") - at)
                at = time.time()
                cable.mend()
                healed.append(seen(page, "Listening") - at)
    return {"cut to NOT LISTENING, s": spread(found), "mended to Listening, s": spread(healed)}


class Client(Thread):
    """A page without a browser: reads the stream, remembers when alarms came."""

    def __init__(self, server: Server, own: int = 1) -> None:
        """own: last part of its own address, for one address may not have fifty connections."""
        super().__init__(daemon=True)
        self._context = ssl.create_default_context()
        self._context.check_hostname, self._context.verify_mode = False, ssl.CERT_NONE  # speed is measured here
        self._line = HTTPSConnection(
            "127.0.0.1", server.port, context=self._context, source_address=(f"127.0.0.{own}", 0)
        )
        cookie = f"{COOKIE}={server.do('token')['told']}"
        self._line.request("GET", "/events", headers={"cookie": cookie})
        self._answer = self._line.getresponse()
        self.came: dict[int, float] = {}
        self.start()

    def run(self) -> None:
        for raw in self._answer:
            if raw.startswith(b"data: ") and b'"r1:' in raw:
                number = int(raw.split(b'"r1:')[1].split(b'"')[0])
                self.came.setdefault(number, time.time())


def crowd(times: int) -> dict[str, object]:
    """One client alone, then beside 50 others."""
    told: dict[str, object] = {}
    with serving() as server:
        first = Client(server)
        number, others = 0, list[Client]()
        for name in ("alone", "beside 50"):
            while name != "alone" and len(others) < 50:
                others.append(Client(server, 2 + len(others)))
            time.sleep(2)
            found, took = [], []
            for _ in range(times):
                number += 1
                time.sleep(0.1 + (number * 0.37) % 0.5)
                answer = server.do(f"alarm {number}")
                took.append(float(answer["told"]))
                time.sleep(0.4)
                found.append(first.came[number] - answer["at"])
                server.do("clear")
            told[f"put up to arrived, {name}, s"] = spread(found)
            told[f"what it takes the loop, {name}, s"] = spread(took)
            told[f"memory of the server, {name}, MB"] = round(server.do("memory")["told"], 1)
        time.sleep(2)
        late = [c.came[number] - first.came[number] for c in others]
        told["last alarm: the 50 others after the first, s"] = spread(late)
    return told


def leaks(states: int, rate: float) -> dict[str, object]:
    """Memory at a tenth and at the end of a night at high speed."""
    told: dict[str, object] = {}
    with serving() as server, chromium() as browser, phone(browser) as context:
        page = context.new_page()
        pair(page, server)
        tool = context.new_cdp_session(page)
        tool.send("Performance.enable")
        page.evaluate("() => { window.took = 0; source.addEventListener('now', () => { window.took++; }); }")
        for name, count in (("after a tenth", states // 10), ("at the end", states - states // 10)):
            server.do(f"fast {count} {rate}")
            tool.send("HeapProfiler.collectGarbage")
            metrics = {one["name"]: one["value"] for one in tool.send("Performance.getMetrics")["metrics"]}
            told[name] = {
                "server, MB": round(server.do("memory")["told"], 2),
                "page's heap, MB": round(metrics["JSHeapUsedSize"] / 1e6, 2),
                "page's nodes": int(metrics["Nodes"]),
                "page's listeners": int(metrics["JSEventListeners"]),
            }
        told["states put up"], told["frames that the page took"] = states, page.evaluate("() => window.took")
        told["shown at the end"] = page.locator("#line").inner_text()
    return told


def main() -> None:
    """Run what is asked for; print it and keep it."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--only", choices=("latency", "cut", "crowd", "leaks"))
    chosen = parser.parse_args()
    quick = chosen.quick
    parts: dict[str, Callable[[], dict[str, object]]] = {
        "latency": lambda: latency(10 if quick else 50),
        "cut": lambda: cut(2 if quick else 10),
        "crowd": lambda: crowd(10 if quick else 50),
        "leaks": lambda: leaks(5760 if quick else 57_600, 200.0),
    }
    told: dict[str, object] = json.loads(RESULT.read_text()) if RESULT.exists() else {}
    for name, part in parts.items():
        if chosen.only in (None, name):
            told[name] = part()
            print(name, json.dumps(told[name], indent=1))
    if not quick:
        RESULT.write_text(json.dumps(told, indent=1) + "\n")


if __name__ == "__main__":
    main()
