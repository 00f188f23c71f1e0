"""A bedroom without a sound card: a private PulseAudio with a room to play into and a speaker at the bedside.

    sink ROOM                 whatever is played into it is what the microphone (its monitor) hears
    sink BEDSIDE              the caregiver's speaker; its monitor can be recorded
    source MIC                the microphone where ROOM's monitor is not: a copy of it that can be suspended, or a pipe
                              that a test fills itself
    sink ELSEWHERE            another room, for a stream that is moved
Nothing of the machine's own sound is touched: own folder, own socket, no bus, no autospawn.
"""

import os
import shutil
import signal
import subprocess
import tempfile
import time
from ctypes.util import find_library
from pathlib import Path
from typing import Literal

SINK = "format=s16le rate=48000 channels=1 norewinds=1"
"""Without `norewinds` a monitor delivers in bursts of 2 s while a long-buffered player plays (measured)."""
SINKS = ("ROOM", "BEDSIDE", "ELSEWHERE")
START = 10.0
"""s to wait for the server; it takes 0.1 to 0.3 s."""


def missing() -> str | None:
    """What this machine lacks for a virtual room, or None."""
    tools = [name for name in ("pulseaudio", "pactl", "paplay", "parecord") if shutil.which(name) is None]
    if find_library("portaudio") is None:
        tools.append("libportaudio2")
    if not any(Path("/usr/lib").glob("*/alsa-lib/libasound_module_pcm_pulse.so")):
        tools.append("libasound2-plugins")
    return f"no virtual room: {', '.join(tools)} missing" if tools else None


COPY = "load-module module-remap-source master=ROOM.monitor source_name=MIC channels=1\n"
PIPE_RATE = 16_000


class Room:
    """One private sound server; `env` is for every process that is to be in the room.

    microphone: the room's own monitor, a copy of it, or a pipe (`pipe`, 16 bits, mono, 16 kHz).
    """

    def __init__(self, microphone: Literal["monitor", "copy", "pipe"] = "monitor") -> None:
        self.folder = Path(tempfile.mkdtemp(prefix="room."))  # short: a socket's path has at most 107 bytes
        self.socket = self.folder / "native"
        self.pipe = self.folder / "mic"
        self.microphone = "ROOM.monitor" if microphone == "monitor" else "MIC"
        (self.folder / "client.conf").write_text("autospawn = no\n")
        (self.folder / "server.pa").write_text(
            ".fail\n"
            f"load-module module-native-protocol-unix socket={self.socket} auth-anonymous=1\n"
            + "".join(f"load-module module-null-sink sink_name={name} {SINK}\n" for name in SINKS)
            + {"monitor": "", "copy": COPY, "pipe": self._pipe_module()}[microphone]
            + f"set-default-sink BEDSIDE\nset-default-source {self.microphone}\n"
        )
        bare = {name: value for name, value in os.environ.items() if not name.startswith("PULSE_")}
        self.env = bare | {
            "PULSE_SERVER": f"unix:{self.socket}",
            "PULSE_CLIENTCONFIG": str(self.folder / "client.conf"),
            "PULSE_SINK": "BEDSIDE",
            "PULSE_SOURCE": self.microphone,
        }
        self._children: list[subprocess.Popen[bytes]] = []
        self._server = self._launch()

    def play(self, path: Path, sink: str = "ROOM") -> "subprocess.Popen[bytes]":
        """Play a sound file into the room (or another sink), in real time."""
        return self._start("paplay", f"--device={sink}", str(path))

    def control(self, *words: str) -> str:
        """Give the server an order by `pactl`; return its answer."""
        done = subprocess.run(["pactl", *words], env=self.env, capture_output=True, text=True, timeout=5, check=True)
        return done.stdout.strip()

    def _pipe_module(self) -> str:
        shape = f"format=s16le rate={PIPE_RATE} channels=1"
        return f"load-module module-pipe-source source_name=MIC file={self.pipe} {shape}\n"

    def record_bedside(self, path: Path) -> "subprocess.Popen[bytes]":
        """Record what the caregiver's speaker gives; end it with `finish`."""
        return self._start("parecord", "--device=BEDSIDE.monitor", "--channels=1", "--file-format=wav", str(path))

    def finish(self, child: "subprocess.Popen[bytes]") -> None:
        """Let a recorder write its file and end."""
        child.send_signal(signal.SIGINT)
        child.wait(timeout=10)

    def kill_server(self) -> None:
        """The sound server dies, as from a fault of its own."""
        self._server.kill()
        self._server.wait(timeout=10)

    def restart_server(self) -> None:
        """A new server in the same place."""
        self.socket.unlink(missing_ok=True)
        self._server = self._launch()

    def hang_server(self) -> None:
        """The server stops answering, but lives."""
        self._server.send_signal(signal.SIGSTOP)

    def wake_server(self) -> None:
        """It goes on."""
        self._server.send_signal(signal.SIGCONT)

    def close(self) -> None:
        """End all that was started, and remove the folder."""
        for child in [*self._children, self._server]:
            if child.poll() is None:
                child.send_signal(signal.SIGCONT)
                child.kill()
            child.wait(timeout=10)
        shutil.rmtree(self.folder)

    def _start(self, *command: str) -> "subprocess.Popen[bytes]":
        child = subprocess.Popen(command, env=self.env, stdin=subprocess.DEVNULL)
        self._children.append(child)
        return child

    def _launch(self) -> "subprocess.Popen[bytes]":
        nowhere = f"unix:path={self.folder}/no-bus"
        env = {
            "PATH": os.environ["PATH"], "LANG": "C.UTF-8", "HOME": str(self.folder),
            "PULSE_RUNTIME_PATH": str(self.folder / "run"), "PULSE_STATE_PATH": str(self.folder / "state"),
            "DBUS_SESSION_BUS_ADDRESS": nowhere, "DBUS_SYSTEM_BUS_ADDRESS": nowhere,
        }  # fmt: skip
        server = subprocess.Popen(
            ["pulseaudio", "-n", "--daemonize=no", "--use-pid-file=no", "--exit-idle-time=-1",
             "--realtime=no", "--high-priority=no", f"--log-target=file:{self.folder}/log",
             "-F", str(self.folder / "server.pa")],
            env=env, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
            start_new_session=True,
        )  # fmt: skip
        self._await(server)
        return server

    def _await(self, server: "subprocess.Popen[bytes]") -> None:
        until = time.monotonic() + START
        while time.monotonic() < until and server.poll() is None:
            asked = subprocess.run(["pactl", "info"], env=self.env, capture_output=True, check=False)
            if asked.returncode == 0:
                return
            time.sleep(0.05)  # no event tells that a server answers
        log = (self.folder / "log").read_text() if (self.folder / "log").exists() else "no log"
        server.kill()
        server.wait()
        raise RuntimeError(f"the sound server did not start: {log}")
