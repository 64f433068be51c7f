"""A set of slabs that somebody asks for: so many of a thickness."""

import re

from optimizer.problem import SetAsked
from scans.messages import named, quoted
from service.typed.errors import InputError

MOST_SLABS, MOST_QUARTERS = 100, 64
_SET = re.compile(r"(\d{1,6})\s*[x×]\s*(\d{1,6})\s*/\s*4", re.IGNORECASE)


def set_of_text(typed: str) -> SetAsked:
    """Return a set as it was typed, such as `4x8/4`: four slabs of 8/4. Raises InputError."""
    found = _SET.fullmatch(typed.strip())
    if found is None:
        raise InputError(
            f'{named("set")} must be how many slabs of which thickness, such as "4x8/4", got {quoted(typed)}',
            field="set",
        )
    count, quarters = (int(number) for number in found.groups())
    for what, value, most in (("slabs", count, MOST_SLABS), ("quarters", quarters, MOST_QUARTERS)):
        if not 1 <= value <= most:
            raise InputError(f"{named('set')} must ask for 1 to {most} {what}, got {value}", field="set")
    return SetAsked(count, quarters)
