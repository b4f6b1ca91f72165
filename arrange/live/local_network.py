"""This machine's address in the network that it is in."""

from __future__ import annotations

import ipaddress
import socket

from arrange.errors import ArrangeError

THIS_MACHINE = "127.0.0.1"  # for its own programs alone
# An address for examples (RFC 5737): the way out of the network leads there, and nobody is there.
_OUTSIDE = ("192.0.2.1", 9)


def network_address() -> str:
    """Return the address under which others in the local network reach this machine.

    Raises
    ------
    ArrangeError
        If there is none, or the network is no local one.
    """
    address = _own_address()
    known = ipaddress.ip_address(address)
    if known.is_loopback or known.is_unspecified:
        raise ArrangeError(
            "--share: this machine is in no network; join the one that the band's phones are in, "
            "and run it again"
        )
    if not known.is_private:
        raise ArrangeError(
            f"--share: this machine is in the Internet itself, as {address}, where anybody could "
            "reach the page; join a local network, such as a router's or a phone's, and run it "
            "again"
        )
    return address


def _own_address() -> str:
    """The address of the way out, or this machine's own; nothing is sent."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as way:
        try:
            way.connect(_OUTSIDE)
        except OSError:
            return THIS_MACHINE
        return str(way.getsockname()[0])
