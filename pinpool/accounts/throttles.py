"""How often one may try what can be guessed, counted on Django's cache so that all workers count together.

A try takes one of the slots of its time window by `cache.add`, which a single caller wins: eight at once are eight
tries. Windows start by the clock, so that up to twice the number fits into the time around such a start.
"""

import hashlib
import math
import time
from collections.abc import Iterator
from contextlib import contextmanager
from ipaddress import IPv4Address, ip_address, ip_network

from django.core.cache import caches
from rest_framework.exceptions import Throttled
from rest_framework.request import Request

from pinpool.conf import setting


@contextmanager
def counted(**who: str) -> Iterator[None]:
    """Count a try of the block against each limit; one that ends well is given back, so that failures alone count.

    Keys are names of settings that hold (times, seconds), values say who tries: an address, an account. Raises
    `Throttled` where a limit is used up.
    """
    taken = [count(limit, one) for limit, one in who.items()]
    yield
    caches[setting("CACHE")].delete_many(taken)


def count(limit: str, who: str) -> str:
    """Count one try for good; returns its slot. Raises `Throttled` with the seconds until the next window."""
    times, seconds = setting(limit)
    window, gone = divmod(time.time(), seconds)
    cache = caches[setting("CACHE")]
    name = hashlib.sha256(f"{limit} {who}".encode()).hexdigest()  # no one's name or address stands in the cache
    slots = [f"pinpool-{name}-{window:.0f}-{number}" for number in range(times)]
    taken = cache.get_many(slots)
    for slot in slots:
        if slot not in taken and cache.add(slot, 1, timeout=seconds):
            return slot
    raise Throttled(wait=math.ceil(seconds - gone), detail="Too many tries.")


def address_of(request: Request) -> str:
    """Where a request comes from; of an IPv6 address the network of 64 bits, which is one household's."""
    told = request.META.get("REMOTE_ADDR", "")
    proxies = setting("TRUSTED_PROXIES")
    if proxies:
        hops = request.headers.get("X-Forwarded-For", told).split(",")
        told = hops[-min(proxies, len(hops))].strip()
    try:
        address = ip_address(told)
    except ValueError:
        return told
    address = getattr(address, "ipv4_mapped", None) or address
    return str(address if isinstance(address, IPv4Address) else ip_network((address, 64), strict=False))
