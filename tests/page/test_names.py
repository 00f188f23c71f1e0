"""Where the page may listen, and whose requests it answers."""

from ipaddress import ip_address

import pytest

from beepwatch.errors import InputError
from beepwatch.page import names
from beepwatch.page.names import PORT, Place, near, place


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("", Place("", PORT)),
        (":9000", Place("", 9000)),
        ("localhost", Place("127.0.0.1", PORT)),
        ("127.0.0.1:9443", Place("127.0.0.1", 9443)),
        ("192.168.1.20", Place("192.168.1.20", PORT)),
        ("0.0.0.0:8443", Place("", 8443)),
        ("[::1]:9000", Place("::1", 9000)),
    ],
)
def test_places_as_people_write_them(text: str, expected: Place) -> None:
    """Host, port, both or neither."""
    assert place(text) == expected


@pytest.mark.parametrize(
    "text", [":0", ":70000", "8.8.8.8", "[2001:db8::1]:8443", "a b", "host:port", "nas:8443", "1.2.3"]
)
def test_places_that_cannot_be(text: str) -> None:
    """One line that names the value and says what to give."""
    with pytest.raises(InputError, match=r"--page .*") as error:
        place(text)
    assert "\n" not in str(error.value)


@pytest.mark.parametrize(
    "host", ["127.0.0.1", "10.1.2.3", "172.31.0.1", "192.168.0.9", "169.254.3.4", "::1", "fd00::2", "fe80::1%eth0",
             "::ffff:192.168.0.9"],
)  # fmt: skip
def test_the_home_network_is_near(host: str) -> None:
    """Private, link-local and loopback addresses of RFC 1918, 3927, 4193 and 4291."""
    assert near(host)


@pytest.mark.parametrize("host", ["8.8.8.8", "172.32.0.1", "2001:db8::1", "::ffff:8.8.8.8", "100.64.0.1", "", "a.b"])
def test_others_are_not(host: str) -> None:
    """Public ones, those of a provider's own network, and what is no address."""
    assert not near(host)


def test_own_names_are_fit_for_certificates(monkeypatch: pytest.MonkeyPatch) -> None:
    """A computer's name becomes one lower-case label under .local, whatever it was."""
    monkeypatch.setattr("socket.gethostname", lambda: "Annas_PC.home")
    assert names.host_name() == "annas-pc.local"
    monkeypatch.setattr("socket.gethostname", lambda: "_")
    assert names.host_name() == "beepwatch.local"
    assert all(near(one) and not ip_address(one).is_loopback for one in names.own_addresses())
