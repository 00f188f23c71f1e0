"""Two computers of one home, as network namespaces of this machine with a cable between them that can be cut."""

import os
import shutil
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from uuid import uuid4

LISTENER, PHONE = "10.77.0.1", "10.77.0.2"
"""Addresses at the two ends."""


def missing() -> str | None:
    """What is lacking for namespaces, or None."""
    if os.geteuid() != 0 or shutil.which("ip") is None:
        return "no network namespaces: root and iproute2 are needed"
    return None


def run(*command: str) -> None:
    """One command that has to work."""
    subprocess.run(command, check=True, capture_output=True, text=True)


class Cable:
    """A veth pair; end `a` is the listener's namespace, end `b` the phone's.

    IPv4 only: an IPv6 address that comes up by itself seconds later is a change of network, at which a browser drops
    what it is loading.
    """

    def __init__(self) -> None:
        tag = uuid4().hex[:6]
        self.a, self.b = f"bw-{tag}-a", f"bw-{tag}-b"
        self._plugs = (f"v{tag}a", f"v{tag}b")
        for space in (self.a, self.b):
            run("ip", "netns", "add", space)
            run("ip", "-n", space, "link", "set", "lo", "up")
            run(*self.inside(space, "sh", "-c", "echo 1 > /proc/sys/net/ipv6/conf/default/disable_ipv6 || true"))
        plug, other = self._plugs
        run(*f"ip link add {plug} netns {self.a} type veth peer {other} netns {self.b}".split())
        for space, plug, address in zip((self.a, self.b), self._plugs, (LISTENER, PHONE), strict=True):
            run("ip", "-n", space, "address", "add", f"{address}/24", "dev", plug)
            run("ip", "-n", space, "link", "set", plug, "up")

    def cut(self) -> None:
        """Nothing passes any more; neither end is told by its own connections."""
        run("ip", "-n", self.b, "link", "set", self._plugs[1], "down")

    def mend(self) -> None:
        """It passes again."""
        run("ip", "-n", self.b, "link", "set", self._plugs[1], "up")

    def move(self, address: str) -> None:
        """The router gives the listener another address."""
        run("ip", "-n", self.a, "address", "flush", "dev", self._plugs[0])
        run("ip", "-n", self.a, "address", "add", f"{address}/24", "dev", self._plugs[0])

    def name(self, space: str, name: str, address: str) -> None:
        """In this namespace the name has this address, as by mDNS; for what is started there from now on, and again."""
        folder = Path("/etc/netns") / space
        folder.mkdir(parents=True, exist_ok=True)
        with (folder / "hosts").open("w") as file:  # in place: it is bound to /etc/hosts there
            file.write(f"127.0.0.1 localhost\n{address} {name}\n")

    def inside(self, space: str, *command: str) -> list[str]:
        """A command line that runs in a namespace."""
        return ["ip", "netns", "exec", space, *command]

    def script(self, space: str, program: str, folder: Path) -> Path:
        """A program that runs in a namespace, as one file."""
        made = folder / f"in-{space}"
        made.write_text(f'#!/bin/sh\nexec ip netns exec {space} {program} "$@"\n')
        made.chmod(0o755)
        return made

    def close(self) -> None:
        """Take all of it away."""
        for space in (self.a, self.b):
            subprocess.run(["ip", "netns", "delete", space], check=False, capture_output=True)
            shutil.rmtree(Path("/etc/netns") / space, ignore_errors=True)


@contextmanager
def cable() -> Iterator[Cable]:
    """Two namespaces and the cable."""
    made = Cable()
    try:
        yield made
    finally:
        made.close()
