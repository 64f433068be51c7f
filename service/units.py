"""What people read lengths and masses in."""

from enum import StrEnum


class Units(StrEnum):
    """What people read lengths and masses in."""

    IMPERIAL = "imperial"
    METRIC = "metric"
