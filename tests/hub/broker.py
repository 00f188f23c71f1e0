"""A real mosquitto on this computer, for one test: with or without TLS and password."""

import os
import shutil
import socket
import subprocess
import time
from pathlib import Path

import pytest

USER, PASSWORD = "listener", "correct horse"


def needed() -> None:
    """Skip where mosquitto and its client tools are not installed; in CI they always are."""
    lack = [name for name in ("mosquitto_sub", "mosquitto_pub", "openssl") if shutil.which(name) is None]
    if program() is None:
        lack.append("mosquitto")
    if lack:
        assert os.environ.get("CI") != "true", lack
        pytest.skip(f"needs {', '.join(lack)} (Debian: mosquitto mosquitto-clients openssl)")


def program() -> str | None:
    """Debian puts it where only root looks."""
    return shutil.which("mosquitto", path=f"{os.environ['PATH']}{os.pathsep}/usr/sbin")


def free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


class Mosquitto:
    """The broker and its own client tools."""

    def __init__(self, folder: Path, secure: bool = False) -> None:
        needed()
        self.port, self.folder, self.secure = free_port(), folder, secure
        lines = [f"listener {self.port} 127.0.0.1", "persistence false", "user root" if os.getuid() == 0 else ""]
        if secure:
            certificate(folder)
            self._passwords()
            lines += [f"certfile {folder}/cert.pem", f"keyfile {folder}/key.pem", f"password_file {folder}/passwords"]
        lines.append(f"allow_anonymous {str(not secure).lower()}")
        (folder / "mosquitto.conf").write_text("\n".join(lines) + "\n")
        self._process: subprocess.Popen[bytes] | None = None
        self.start()

    def start(self) -> None:
        command = [program() or "mosquitto", "-c", str(self.folder / "mosquitto.conf")]
        self._process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        until = time.monotonic() + 10
        while time.monotonic() < until:
            try:
                socket.create_connection(("127.0.0.1", self.port), 1).close()
            except OSError:
                time.sleep(0.05)
            else:
                return
        raise AssertionError("mosquitto did not start")

    def stop(self) -> None:
        if self._process is not None:
            self._process.kill()
            self._process.wait()
            self._process = None

    def subscribe(self, topic: str, count: int, seconds: float = 15.0) -> "subprocess.Popen[str]":
        """mosquitto_sub, which prints `topic payload` of `count` messages."""
        command = ["mosquitto_sub", *self._place(), "-V", "mqttv5", "-q", "1", "-v", "-t", topic]
        command += ["-C", str(count), "-W", str(int(seconds))]
        return subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)

    def publish(self, topic: str, payload: str, *, retain: bool = False) -> None:
        command = ["mosquitto_pub", *self._place(), "-V", "mqttv5", "-q", "1", "-t", topic, "-m", payload]
        subprocess.run([*command, *(["-r"] if retain else [])], check=True, timeout=10)

    def _place(self) -> list[str]:
        place = ["-h", "127.0.0.1", "-p", str(self.port)]
        if self.secure:
            place += ["--cafile", str(self.folder / "cert.pem"), "-u", USER, "-P", PASSWORD]
        return place

    def _passwords(self) -> None:
        tool = shutil.which("mosquitto_passwd") or "mosquitto_passwd"
        path = self.folder / "passwords"
        subprocess.run([tool, "-b", "-c", str(path), USER, PASSWORD], check=True, capture_output=True)
        path.chmod(0o644)


def certificate(folder: Path) -> None:
    """A certificate for 127.0.0.1 that is its own authority."""
    subject = ["-subj", "/CN=127.0.0.1", "-addext", "subjectAltName=IP:127.0.0.1"]
    files = ["-keyout", str(folder / "key.pem"), "-out", str(folder / "cert.pem")]
    command = ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", *subject, *files]
    subprocess.run(command, check=True, capture_output=True)
    (folder / "key.pem").chmod(0o644)
