"""How often somebody may be wrong about the passphrase.

Each address has a limit of its own, and there is none over all: with one, whoever guesses from many addresses would
lock out those who know the passphrase. What keeps guessing slow from many addresses is its cost: `service.sessions`
hashes one passphrase at a time, in the order in which they came, and holds no thread for those that wait. So all
addresses together make as many guesses as one processor core hashes, which is nothing against four words that do not
go together, and a right passphrase from an address that was not wrong waits for its turn and gets in. Who is signed in
waits for nobody.
"""

import time
from collections.abc import Callable
from ipaddress import IPv6Address, ip_address

from cachetools import TTLCache

from service.contract.refusals import TooManyError

_MOST_ADDRESSES = 100_000
"""Bounds what is remembered; the oldest is forgotten first."""
_OWN_BITS = 64
"""An IPv6 address ends in bits that its owner chooses (RFC 4291, section 2.5.4)."""


class Tries:
    """Counts the tries from each address since it last was right.

    most : before it must wait for window_s from its last try. [s] clock : in seconds.
    """

    def __init__(self, most: int, window_s: float, clock: Callable[[], float] = time.monotonic) -> None:
        self._most, self._window_s, self._clock = most, window_s, clock
        self._tried: TTLCache[str, tuple[int, float]] = TTLCache(_MOST_ADDRESSES, window_s, timer=clock)

    def begin(self, address: str) -> None:
        """Count a try before it is judged, so that many at once are no way round. Raises TooManyError."""
        owner = _owner(address)
        count, last_s = self._tried.get(owner, (0, 0.0))
        if count >= self._most:
            wait_s = max(1, round(last_s + self._window_s - self._clock()))
            raise TooManyError(f"the passphrase was wrong too often; wait {wait_s} s", wait_s)
        self._tried[owner] = (count + 1, self._clock())

    def was_right(self, address: str) -> None:
        """Forget the tries of an address that knew the passphrase."""
        self._tried.pop(_owner(address), None)


def _owner(address: str) -> str:
    """Return what one owner's addresses have in common."""
    try:
        known = ip_address(address)
    except ValueError:
        return address
    if not isinstance(known, IPv6Address):
        return address
    return str(known.ipv4_mapped or int(known) >> _OWN_BITS)
