"""From where a request comes, through the proxies that the site trusts."""

from __future__ import annotations

from ipaddress import IPv4Address, IPv6Address, IPv6Network, ip_address

from django.conf import settings
from django.http import HttpRequest

V6_NETWORK_BITS = 64
"""The smallest network there is (RFC 4291, 2.5.1); whoever has one has all addresses in it."""

LONGEST_LISTED = 100
"""Signs of an address in a header that are looked at."""


def client_address(request: HttpRequest) -> IPv4Address | IPv6Address | None:
    """The client's address, None where it is not known (a socket of the same machine).

    Each trusted proxy adds the address that it saw to the right of X-Forwarded-For; with
    `settings.PROXIES` of them the client's is that many places from the right, and whatever
    stands left of it is the client's own word. What cannot be read counts as not sent.
    """
    nearest = _parsed(request.META.get("REMOTE_ADDR", ""))
    if not settings.PROXIES:
        return nearest
    hops = request.META.get("HTTP_X_FORWARDED_FOR", "").rsplit(",", settings.PROXIES)
    seen = hops[-min(settings.PROXIES, len(hops))]
    return _parsed(seen) or nearest


def network_of(address: IPv4Address | IPv6Address | None) -> str:
    """Who counts as one caller: an address of version 4, a /64 of version 6."""
    if isinstance(address, IPv6Address):
        return str(IPv6Network((address, V6_NETWORK_BITS), strict=False))
    return str(address or "unknown")


def _parsed(text: str) -> IPv4Address | IPv6Address | None:
    """An address as proxies write it: bare, with a port, or in brackets (RFC 7239, section 6)."""
    text = text.strip()[:LONGEST_LISTED]
    if text.startswith("["):
        text = text[1:].partition("]")[0]
    elif text.count(":") == 1:
        text = text.partition(":")[0]
    try:
        found = ip_address(text.partition("%")[0])
    except ValueError:
        return None
    # One machine must not count twice because a socket speaks both versions (RFC 4291, 2.5.5.2).
    return (isinstance(found, IPv6Address) and found.ipv4_mapped) or found
