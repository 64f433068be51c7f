"""Forms as data: what is asked, how people write it, and where it goes in a document.

A field's name is its place in the document (`pace.hourly_rate`, `section.2.wide_m`), so that what a model finds wrong
stands at the field that is wrong. A bare number is in the unit that stands beside the field.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from math import ceil, floor, isfinite
from typing import Any, Literal, TypeVar

from pydantic import ValidationError

from optimizer.documents.typed import Typed, is_of_a_bound, refusal_in, what_is_wrong
from scans.messages import quoted
from scans.units import FOOT_M, INCH_M, POUND_KG, fraction_text, parse_length_m
from service.words.units import Units

Model = TypeVar("Model", bound=Typed)
Kind = Literal[
    "text",
    "length",
    "long",
    "number",
    "whole",
    "mass",
    "per-mass",
    "per-area",
    "area-rate",
    "speed",
    "percent",
    "choice",
    "flag",
]
Typed_ = Mapping[str, str]
_TO_SI = {
    "mass": (POUND_KG, "lb", 1.0, "kg"),
    "per-mass": (1.0 / POUND_KG, "a lb", 1.0, "a kg"),
    "per-area": (1.0 / FOOT_M**2, "a ft²", 1.0, "a m²"),
    "area-rate": (FOOT_M**2, "ft²/min", 1.0, "m²/min"),
    "speed": (FOOT_M, "ft/min", 1.0, "m/min"),
    "percent": (0.01, "%", 0.01, "%"),
}
_FINEST = 64
_HAIR_PARTS = 1e-6
_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)")
_ROW = re.compile(r"\.(0|[1-9][0-9]{0,3})(?=\.|$)")
"""The number of a row within a name."""
_DOCUMENT_ROW = re.compile(r"\[([1-9][0-9]{0,3})\]")
"""The same within the name of a document's field, counted from 1."""


@dataclass(frozen=True)
class Field:
    """One question. name : its place in the document, with * for the number of a row.

    word : what explains it (`words.py`). needed : whether it may not be left empty. offers : of a choice, values and
    labels. low, high : for a hint alone; bounds are the document's.
    """

    name: str
    label: str
    kind: Kind = "length"
    hint: str = ""
    word: str = ""
    needed: bool = False
    offers: tuple[tuple[str, str], ...] = ()
    list_id: str = ""

    def unit(self, units: Units, currency: str = "") -> str:
        """Return what stands beside it."""
        if self.kind == "length":
            return units.bare_unit
        if self.kind in _TO_SI:
            _, imperial, _, metric = _TO_SI[self.kind]
            return metric if units is Units.METRIC else imperial
        return currency if self.kind == "number" and "price" in self.hint else ""


@dataclass(frozen=True)
class Asked:
    """A form's fields, and which of its places are lists of rows."""

    fields: tuple[Field, ...]
    rows: tuple[str, ...] = ()

    def asks(self, name: str) -> bool:
        """Tell whether there is such a field."""
        return self._found(name) is not None

    def of(self, name: str) -> Field:
        """Return the field of a name with its numbers. Raises KeyError."""
        found = self._found(name)
        if found is None:
            raise KeyError(name)
        return found

    def name_of(self, field: str) -> str:
        """Return the name of the box that asks for a field of the document; empty for one that none asks for.

        field : as refusals name it, `section[2].at`, rows counted from 1.
        """
        name = _DOCUMENT_ROW.sub(lambda row: f".{int(row[1]) - 1}", field)
        return next((each for each in (name, f"{name}_m") if name and self.asks(each)), "")

    def _found(self, name: str) -> Field | None:
        # Whoever sends a form may name its fields as they like: a * of their own is no number.
        plain = "" if "*" in name else _ROW.sub(".*", name)
        return next((question for question in self.fields if question.name == plain), None)


@dataclass
class Filled:
    """A form as it came.

    document : what it makes. errors : what is wrong, by the field's name; "" for what is wrong at large.
    """

    typed: dict[str, str]
    document: dict[str, Any] = field(default_factory=dict)
    errors: dict[str, str] = field(default_factory=dict)


def row_numbers(typed: Typed_, rows: str) -> list[int]:
    """Return the numbers of a list's rows among typed names, in order; other names are passed over."""
    found = (_ROW.match(name, len(rows)) for name in typed if name.startswith(rows))
    return sorted({int(row[1]) for row in found if row is not None})


def filled(asked: Asked, typed: Typed_, units: Units) -> Filled:
    """Read a form. Rows in which nothing was typed are passed over."""
    form = Filled({name: value[:400] for name, value in typed.items()})
    kept = {name: value.strip() for name, value in form.typed.items() if asked.asks(name)}
    alive = {prefix for name, value in kept.items() if value for prefix in _row_prefixes(name)}
    for name, value in kept.items():
        prefixes = list(_row_prefixes(name))
        if prefixes and not all(prefix in alive for prefix in prefixes):
            continue
        question = asked.of(name)
        if not value and question.kind != "flag":
            if question.needed:
                form.errors[name] = f"{question.label} is missing"
            continue
        try:
            _put(form.document, name, _value(question, value, units))
        except ValueError as error:
            form.errors[name] = str(error)
    for question in asked.fields:
        if question.kind == "flag" and "*" not in question.name:
            _put(form.document, question.name, question.name in kept)
    return form


def _row_prefixes(name: str) -> Iterator[str]:
    return (name[: row.end()] for row in _ROW.finditer(name))


def _put(document: dict[str, Any], name: str, value: Any) -> None:
    *steps, last = name.split(".")
    here: dict[str, Any] = document
    for step in steps:
        here = here.setdefault(step, {})
    here[last] = value


def _value(question: Field, value: str, units: Units) -> Any:
    if question.kind in {"text", "choice"}:
        return value
    if question.kind == "flag":
        return True
    if question.kind in {"length", "long"}:
        return length_m(value, units)
    number = _number(value, question.label)
    if question.kind == "whole":
        if number != int(number):
            raise ValueError(f"{question.label} must be a whole number, got {quoted(value)}")
        return int(number)
    if question.kind in _TO_SI:
        imperial, _, metric, _ = _TO_SI[question.kind]
        return number * (metric if units is Units.METRIC else imperial)
    return number


def length_m(text: str, units: Units) -> float:
    """Read a length; a bare number is in inches, or millimetres. [m]. Raises LengthError."""
    return parse_length_m(text, units.bare_unit)


def _number(text: str, label: str) -> float:
    plain = text.replace(",", "").removesuffix("%").strip().lstrip("$").strip()
    if not _NUMBER.fullmatch(plain) or not isfinite(float(plain)):
        raise ValueError(f"{label} must be a number, got {quoted(text)}")
    return float(plain)


def checked(model: type[Model], asked: Asked, form: Filled, units: Units) -> Model | None:
    """Return the document where nothing is wrong; else None, with what is wrong noted at its field, in `units`."""
    document, places = _listed(asked, form.document)
    try:
        made = model.model_validate(document)
    except ValidationError as error:
        for found in error.errors(include_url=False):
            name = _name_of(found["loc"], places)
            own = refusal_in(found)
            inner = f"{name}.{own.field}".lstrip(".") if own is not None else name
            name = next((each for each in (inner, f"{inner}_m") if asked.asks(each)), name)
            if name not in form.errors and not any(known.startswith(f"{name}.") for known in form.errors if name):
                form.errors[name] = _said(asked, name, found, units)
        return None
    return None if form.errors else made


def _listed(asked: Asked, document: dict[str, Any]) -> tuple[dict[str, Any], dict[str, str]]:
    """Turn tables with numbers for keys into lists; return where each row of a list came from."""
    places: dict[str, str] = {}

    def turned(value: Any, new: str, old: str) -> Any:
        if not isinstance(value, dict):
            return value
        if _ROW.sub(".*", old) in asked.rows:
            rows = sorted(value.items(), key=lambda row: int(row[0]))
            for at, (number, _) in enumerate(rows):
                places[f"{new}.{at}"] = f"{old}.{number}"
            return [turned(row, f"{new}.{at}", f"{old}.{number}") for at, (number, row) in enumerate(rows)]
        return {
            key: turned(inside, f"{new}.{key}".lstrip("."), f"{old}.{key}".lstrip(".")) for key, inside in value.items()
        }

    return turned(document, "", ""), places


def _name_of(loc: Sequence[int | str], places: Mapping[str, str]) -> str:
    name = ".".join(str(step) for step in loc)
    for new in sorted(places, key=len, reverse=True):
        if name == new or name.startswith(f"{new}."):
            return places[new] + name[len(new) :]
    return name


def _said(asked: Asked, name: str, found: Any, units: Units) -> str:
    if found["type"] == "missing":
        return "This is missing"
    message = what_is_wrong(found)
    try:
        question = asked.of(name)
    except KeyError:
        return message
    bounds = found.get("ctx") or {}
    if question.kind in {"length", "long"} or question.kind in _TO_SI:
        for key, words in (("gt", "over"), ("ge", "at least"), ("lt", "under"), ("le", "at most")):
            if key in bounds:
                return f"{question.label} must be {words} {_bound_text(question, float(bounds[key]), key, units)}"
    return f"{question.label} {message}" if is_of_a_bound(found) else message


def _bound_text(question: Field, bound: float, key: str, units: Units) -> str:
    """Write a bound with its unit, rounded to the side that is allowed: typed as it is said, it must be taken.

    bound : in SI, as the document has it. key : gt, ge, lt or le.
    """
    if question.kind in _TO_SI:
        # These are bounded by whole numbers of the unit that stands beside the field, 0 or 100%.
        unit = question.unit(units)
        return f"{_shown(question, bound, units)}{'' if unit == '%' else ' '}{unit}"
    if units is Units.IMPERIAL:
        parts = bound / INCH_M * _FINEST
        # A hair less than a whole part is that part, not the one before.
        whole = floor(parts + _HAIR_PARTS) if key in {"lt", "le"} else ceil(parts - _HAIR_PARTS)
        bound = whole / _FINEST * INCH_M
    return length_text(bound, units, in_feet=question.kind == "long")


def typed_from(asked: Asked, document: Mapping[str, Any], units: Units) -> dict[str, str]:
    """Return what one would have typed for a document."""
    found: dict[str, str] = {}

    def walk(value: Any, name: str) -> None:
        if isinstance(value, Mapping):
            for key, inside in value.items():
                walk(inside, f"{name}.{key}".lstrip("."))
        elif isinstance(value, (list, tuple)):
            for at, inside in enumerate(value):
                walk(inside, f"{name}.{at}")
        elif value is not None and asked.asks(name):
            shown = _shown(asked.of(name), value, units)
            if shown:
                found[name] = shown

    walk(document, "")
    return found


def _shown(question: Field, value: Any, units: Units) -> str:
    if question.kind == "flag":
        return "on" if value else ""
    if question.kind in {"length", "long"}:
        shown = length_text(float(value), units, in_feet=question.kind == "long")
        # The unit stands beside the field.
        return shown.removesuffix(" in").removesuffix(" mm") if question.kind == "length" else shown
    if question.kind in _TO_SI:
        imperial, _, metric, _ = _TO_SI[question.kind]
        told = value / (metric if units is Units.METRIC else imperial)
        digits = 4 if question.kind.startswith("per-") else 3
        return f"{told:,.0f}" if told >= 100.0 else f"{told:.{digits}g}"
    return f"{value:.10g}" if isinstance(value, float) else str(value)


def length_text(value_m: float, units: Units, *, in_feet: bool = False) -> str:
    """Write a length as one types it, exactly: reading it again gives the same to 1e-9 m."""
    if units is Units.METRIC:
        return f"{_plain(value_m, 9)} m" if in_feet else f"{_plain(value_m * 1000.0, 6)} mm"
    parts = value_m / INCH_M * _FINEST
    if abs(parts - round(parts)) > 1e-5:
        return f"{_plain(value_m / INCH_M, 7)} in"
    feet, inches = divmod(round(parts), 12 * _FINEST)
    if not in_feet or feet == 0 or value_m < 0.0:
        return f"{fraction_text(value_m / INCH_M, _FINEST)} in"
    rest = fraction_text(inches / _FINEST, _FINEST)
    return f"{feet} ft" if rest == "0" else f"{feet} ft {rest} in"


def _plain(value: float, places: int) -> str:
    """Write a number without an exponent, which nobody reads as a length."""
    return f"{value:.{places}f}".rstrip("0").rstrip(".") if value else "0"
