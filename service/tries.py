"""How often somebody may be wrong about the passphrase. No clock of its own: the time is handed in."""

from collections import deque

from service.refusals import TooManyError

_ALL_FACTOR = 20
"""From all addresses together so many times as many tries, so that many addresses are no way round."""


class Tries:
    """Counts tries from each address, and from all.

    most : from one address within window_s. [s]
    """

    def __init__(self, most: int, window_s: float) -> None:
        self._most, self._window_s = most, window_s
        self._times: dict[str, deque[float]] = {}

    def begin(self, address: str, now_s: float) -> None:
        """Count a try before it is judged, so that many at once are no way round. Raises TooManyError."""
        self._forget(now_s - self._window_s)
        own = self._times.get(address, deque())
        every = sum(map(len, self._times.values()))
        if len(own) >= self._most or every >= self._most * _ALL_FACTOR:
            oldest = own[0] if len(own) >= self._most else min(times[0] for times in self._times.values())
            wait_s = max(1, round(oldest + self._window_s - now_s))
            raise TooManyError(f"the passphrase was wrong too often; wait {wait_s} s", wait_s)
        self._times.setdefault(address, deque()).append(now_s)

    def was_right(self, address: str) -> None:
        """Forget the tries of an address that knew the passphrase."""
        self._times.pop(address, None)

    def _forget(self, before_s: float) -> None:
        for address, times in list(self._times.items()):
            while times and times[0] <= before_s:
                times.popleft()
            if not times:
                del self._times[address]
