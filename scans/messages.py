"""Notes and refusals, as data: quantities in SI, in braces, fields by their names, and what somebody typed.

The border writes quantities in the reader's units. The coarser the unit, the coarser it is shown: `{2.95 m}` is a
length along the log, `{5.3 dm}` a width, `{8.9 cm}` a short length, such as a shim, `{624.8 mm}` an exact one, such as
a blade height; `{1077.3 kg}` is a mass.

It names fields, too, as its reader knows them: `{:unit}` is an option of the command line, a box of a form, a name of
the API; `{:unit mm}` is the same with what to write there.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any


class Refusal(ValueError):  # noqa: N818 - its subclasses say what kind of error each is
    """Something that a user's input cannot be used for.

    text : what is wrong. mend : what to do, where the text does not say it. field : the document's name of what is
    wrong, such as `roll_deg`, `section[2].at` or `limits.min_length`; empty for the whole.
    """

    def __init__(self, text: str, mend: str = "", *, field: str = "") -> None:
        super().__init__(text, mend)
        self.text, self.mend, self.field = text, mend, field

    def __str__(self) -> str:
        """Return it in one line: what is wrong; what to do."""
        return f"{self.text}; {self.mend}" if self.mend else self.text


@dataclass(frozen=True)
class Note:
    """Something that the reader of a log or a plan should know.

    kind : a short word for the rule that it comes from. text : in whole sentences. bears_on_plan : whether the plan is
    to be trusted less, or differs, for it; others say how the log was read.
    """

    kind: str = field(metadata={"description": "A short word for the rule that it comes from."})
    text: str = field(metadata={"description": "What to know, in whole sentences."})
    bears_on_plan: bool = field(
        default=False, metadata={"description": "Whether the plan is to be trusted less, or differs, for it."}
    )


def kept_note(kept: Any) -> Any:
    """Return the note of a document: those that were kept before notes had kinds are texts alone."""
    if isinstance(kept, str):
        return Note("kept", kept, bears_on_plan=True)
    return Note(**kept) if isinstance(kept, Mapping) and set(kept) == set(Note.__annotations__) else kept


def named(field: str, example: str = "") -> str:
    """Return a field within a text, which the border names as its reader knows it. example : what to write there."""
    return f"{{:{field} {example}}}" if example else f"{{:{field}}}"


def long_length(length_m: float) -> str:
    """Return a length along the log. Shown to half an inch, or a centimetre."""
    return _braced(length_m, "m")


def short_length(length_m: float) -> str:
    """Return a shim, a width, a keep-out. Shown to an eighth of an inch, or a millimetre."""
    return _braced(100.0 * length_m, "cm")


def width(width_m: float) -> str:
    """Return a width of a face or a slab. Shown to half an inch, or a millimetre."""
    return _braced(10.0 * width_m, "dm")


def exact_length(length_m: float) -> str:
    """Return a blade height. Shown as finely as a tape shows it."""
    return _braced(1000.0 * length_m, "mm")


def mass(mass_kg: float) -> str:
    """Return a mass. Shown to a pound, or a kilogram."""
    return _braced(mass_kg, "kg")


def _braced(value: float, unit: str) -> str:
    # A hair under nothing is nothing, not -0.
    shown = f"{round(value, 4) + 0.0:.4f}"
    return f"{{{shown.rstrip('0').rstrip('.')} {unit}}}"


_MOST_LETTERS = 60


def counted(number: int, noun: str) -> str:
    """Return a number of things: "1 place", "2 places"."""
    return f"{number} {noun}{'' if number == 1 else 's'}"


def quoted(typed: object) -> str:
    r"""Return the start of what somebody typed, in letters that every output can write.

    A half of a surrogate pair, as JSON and file names may hold one, is shown as its number: `\ud800`.
    """
    try:
        text = str(typed)
    except ValueError:  # of a number in hexadecimal, which has more digits than Python writes
        return "a number of thousands of digits"
    kept = text if len(text) <= _MOST_LETTERS else f"{text[:_MOST_LETTERS]}..."
    return writable(kept)


def writable(text: str) -> str:
    """Return a text in letters that every output can write."""
    return text.encode(errors="backslashreplace").decode()
