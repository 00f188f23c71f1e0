"""Which names and addresses are this computer's, and which addresses are near enough to be answered at all."""

import re
import socket
from dataclasses import dataclass
from ipaddress import IPv4Address, IPv6Address, ip_address, ip_network
from typing import TypeAlias

from beepwatch.errors import InputError

Address: TypeAlias = IPv4Address | IPv6Address

PORT = 8443
"""Where the page is unless told otherwise: a port that needs no rights (common practice, no source)."""
NEAR = tuple(
    ip_network(net)
    for net in (
        "127.0.0.0/8",  # this computer (RFC 1122)
        "10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16",  # private (RFC 1918)
        "169.254.0.0/16",  # link-local (RFC 3927)
        "::1/128",
        "fc00::/7",  # unique local (RFC 4193)
        "fe80::/10",  # link-local (RFC 4291)
    )
)  # fmt: skip
"""Networks that are answered: no router passes their addresses on to the internet."""


@dataclass(frozen=True, slots=True)
class Place:
    """Where the page listens. host: "" for every IPv4 address of this computer."""

    host: str = ""
    port: int = PORT


def place(text: str) -> Place:
    """HOST:PORT, HOST, :PORT or nothing, as a person wrote it. Raises InputError with what to do.

    Only this computer's loopback and private addresses may be given: the page is for one home's network.
    By default IPv4 alone is listened to: a phone that comes by a public IPv6 address of the home would have to be
    refused, and refused connections are not tried again by IPv4, but absent ones are.
    """
    match = re.fullmatch(r"(?:\[([0-9a-fA-F:]+)\]|([^:\[\]]*))(?::(\d{1,5}))?", text.strip())
    if match is None:
        raise InputError(f"--page {text!r} is no HOST:PORT: give for instance 192.168.1.20:{PORT}, or :{PORT}")
    port = PORT if match[3] is None else int(match[3])
    if not 1 <= port <= 65535:
        raise InputError(f"--page {text!r}: the port must be 1 to 65535, for instance {PORT}")
    host = match[1] or match[2] or ""
    return Place("127.0.0.1" if host == "localhost" else _bindable(host, text), port)


def _bindable(host: str, text: str) -> str:
    if host in ("", "0.0.0.0"):  # noqa: S104 - all of them; who comes from afar is refused by `near`
        return ""
    try:
        address = ip_address(host)
    except ValueError as error:
        raise InputError(f"--page {text!r}: give an address such as 192.168.1.20, not a name") from error
    if not near(str(address)):
        raise InputError(f"--page {text!r}: {host} is no private address: the page is for the home's own network")
    return str(address)


def near(host: str) -> bool:
    """Whether this peer is on the home's network or on this computer itself; False for what is no address."""
    try:
        address = ip_address(host.partition("%")[0])
    except ValueError:
        return False
    if isinstance(address, IPv6Address) and address.ipv4_mapped is not None:
        address = address.ipv4_mapped
    return any(address in net for net in NEAR if net.version == address.version)


def host_name() -> str:
    """This computer's name on the home network, as mDNS tells it: its first label and ".local" (RFC 6762)."""
    label = re.sub(r"[^a-z0-9-]", "-", socket.gethostname().partition(".")[0].lower()).strip("-")
    return f"{label or 'beepwatch'}.local"


def own_addresses() -> tuple[str, ...]:
    """This computer's near IPv4 addresses other than loopback, the one towards the home's router first."""
    import ifaddr  # noqa: PLC0415 - only for the page

    every = [ip.ip for adapter in ifaddr.get_adapters() for ip in adapter.ips if isinstance(ip.ip, str)]
    found = {one: None for one in every if near(one) and not ip_address(one).is_loopback}
    first = _towards_router()
    return tuple(sorted(found, key=lambda one: one != first))


def _towards_router() -> str:
    """The own end of a UDP socket connected to an outer address, by which nothing is sent; "" without a route."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("10.255.255.255", 9))
            return str(probe.getsockname()[0])
        except OSError:
            return ""


def own_names() -> tuple[str, ...]:
    """Names by which a browser may call this computer."""
    name = host_name()
    return (name, name.removesuffix(".local"), "localhost")
