"""Web addresses that letters, or words about them, are sent to: encrypted, or on this machine."""

import ipaddress
import re
from urllib.parse import urlsplit

from haulm.settings.quantities import fault

# Endings of names that no public name has (RFC 6762, RFC 8375, and common practice).
_AT_HOME = (".local", ".lan", ".internal", ".home.arpa", ".localdomain", ".home")


def on_this_machine(host: str) -> bool:
    """Whether a host is this machine itself, told by its name alone: nothing is looked up."""
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return host.casefold() == "localhost"


def lies_inside(host: str) -> str:
    """Where a host lies that is not out in the world, by its name alone; empty for all others.

    A name that is looked up may lead inside as well: that is not known before it is asked.
    """
    name = host.strip("[]").casefold().rstrip(".")
    try:
        address = ipaddress.ip_address(name)
    except ValueError:
        if name == "localhost" or name.endswith(".localhost"):
            return "this machine"
        return "your own network" if "." not in name or name.endswith(_AT_HOME) else ""
    address = getattr(address, "ipv4_mapped", None) or address
    if address.is_loopback or address.is_unspecified:
        return "this machine"
    if address.is_link_local:
        return "the link-local part of your network, where a data centre may answer with keys"
    return "" if address.is_global else "your own network"


def private_address(url: str, like: str, *, show: bool = True) -> str:
    """An address that may be sent to; a fault of the settings if it is none, or would be sent to in the clear.

    Parameters
    ----------
    like
        An example for the fault.
    show
        Whether the fault may show the address, which is a secret where it holds a token.
    """
    try:
        parts = urlsplit(url)
        host, _ = parts.hostname or "", parts.port
    except ValueError as error:
        raise fault(f"is not a web address, like {like}", show=show) from error
    if not host or parts.scheme not in {"http", "https"} or re.search(r"[\s\x00-\x1f]", url):
        raise fault(f"is not a web address, like {like}", show=show)
    if parts.username is not None or parts.fragment:
        raise fault("must hold no user, password or #", show=False)
    if parts.scheme == "http" and not on_this_machine(host):
        raise fault("must begin with https:// unless it is on this machine", show=show)
    return url
