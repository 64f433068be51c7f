"""Notes and refusals as their reader knows things: quantities in the units that they read, fields by their names there.

This is the one place that writes an option of the command line, the label of a form's box or a name of the API.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from scans.messages import Note
from service.words.quantities import in_si, in_units
from service.words.units import Units

_FIELD = re.compile(r"\{:([a-z][a-z_.]*)(?: ([^{}]*))?\}")


@dataclass(frozen=True)
class Reader:
    """Who reads a message.

    names : what each field is called there; one that is not among them is called as in documents.
    answered : how to show a field with what to write there, {name} and {answer}.
    """

    names: Mapping[str, str]
    answered: str

    def called(self, field: str, answer: str | None = None) -> str:
        """Return what a field is called. answer : what to write there."""
        name = self.names.get(field, field)
        return name if answer is None else self.answered.format(name=name, answer=answer)


_OPTIONS = (
    "mill", "prices", "marks", "species", "bark", "bark_thickness", "end_trim", "cost", "haul", "unit", "up", "butt",
    "taped_length", "pick",
    "shim_butt", "shim_top", "heights", "made", "seen", "stretch", "buck_at", "lays", "seconds", "gap", "seed",
    "workers", "doubt", "buck", "set",
    "girth", "length", "out", "json", "picture", "force", "data", "set_aside", "replace", "port",
)  # fmt: skip
COMMAND_LINE = Reader(
    MappingProxyType(
        {name: f"--{name.replace('_', '-')}" for name in _OPTIONS}
        | {
            "roll_deg": "--roll",
            "fee_received": "--fee",
            "rolled_deg": "--rolled",
            "log": "LOG",
            "log_sheet": "a log sheet (pithline init writes one to start from)",
            "backup": "a backup (pithline restore)",
        }
    ),
    "{name} {answer}",
)
API = Reader(MappingProxyType({"log": "a log", "log_sheet": "a log sheet", "backup": "a backup"}), "{name}: {answer}")


def said(message: Note | Exception | str, units: Units | None, reader: Reader) -> str:
    """Return a message in one line, for its reader. units : None writes quantities in SI, as programs read them."""
    text = message.text if isinstance(message, Note) else str(message)
    measured = in_si(text) if units is None else in_units(text, units)
    return " ".join(fields_named(measured, reader).split())


def fields_named(text: str, reader: Reader) -> str:
    """Return a text with its fields as the reader knows them, its quantities as they are."""
    return _FIELD.sub(lambda found: reader.called(found[1], found[2]), text)
