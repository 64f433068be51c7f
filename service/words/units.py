"""What people read lengths and masses in."""

from enum import StrEnum


class Units(StrEnum):
    """What people read lengths and masses in."""

    IMPERIAL = "imperial"
    METRIC = "metric"

    @property
    def bare_unit(self) -> str:
        """What a length that is typed without its unit is in: as the mill's scale and most tapes read."""
        return "mm" if self is Units.METRIC else "in"
