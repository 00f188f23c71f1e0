"""A network namespace without a route: what runs in it can reach nothing."""

import os
import shutil
import subprocess
import sys

import pytest

NOWHERE = ("unshare", "--map-root-user", "--net")
"""Before a command. A socket in the file system is still reached, so the sound server of the tests is."""
REACH = """
import socket
try:
    socket.create_connection(("192.0.2.1", 80), 2)
except OSError as error:
    raise SystemExit(0 if error.errno == 101 else f"not unreachable: {error}")
raise SystemExit("reached")
"""
"""192.0.2.1 is for documents (RFC 5737); 101: the network is unreachable."""


def nowhere() -> tuple[str, ...]:
    """NOWHERE, proved to have no route. Skips the test where no namespace may be made, but never in CI."""
    if sys.platform != "linux" or shutil.which("unshare") is None:
        lack = "no unshare here"
    else:
        done = subprocess.run([*NOWHERE, "true"], capture_output=True, text=True, check=False)
        lack = "" if done.returncode == 0 else f"no namespace may be made here: {done.stderr.strip()}"
    if lack:
        assert os.environ.get("CI") != "true", lack
        pytest.skip(lack)
    reached = subprocess.run([*NOWHERE, sys.executable, "-c", REACH], capture_output=True, text=True, check=False)
    assert reached.returncode == 0, reached.stderr
    return NOWHERE
