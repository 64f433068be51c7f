"""What people type, as documents: unknown fields refused, quantities as text with a unit.

A field that ends in `_m` may be given as a number in metres under its own name (`throat_m = 1.42`) or,
without the ending, as text with a unit (`throat = "56 in"`); both at once are refused. So may the quantities that
scans/units.py names: `max_log_mass_kg = 4000` or `max_log_mass = "8800 lb"`.

Unknown fields are refused with the nearest name, as a mistyped limit that is passed over could cost a log. TOML takes
comments and needs no indentation.
"""

import difflib
from collections.abc import Collection
from typing import Any

from pydantic import BaseModel, ConfigDict, ValidationError, model_validator
from pydantic.annotated_handlers import GetJsonSchemaHandler
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema, ErrorDetails, PydanticCustomError

from scans.messages import Refusal, quoted
from scans.units import QUANTITIES, LengthError, parse_length_m, parse_quantity

LENGTH_ENDING = "_m"
_MOST_IN_FULL = 1e12
"""Larger numbers are shown with their power of ten."""
ENDINGS = (*QUANTITIES, LENGTH_ENDING)
"""Of the fields that may be typed as text with a unit."""


def ending_of(name: str) -> str:
    """Return the ending of a field that may be typed with a unit; empty where it may not."""
    return next((ending for ending in ENDINGS if name.endswith(ending)), "")


class Typed(BaseModel):
    """A document that a person wrote, or a part of it. Frozen; SI inside."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)

    @model_validator(mode="before")
    @classmethod
    def read_quantities(cls, data: Any) -> Any:
        """Turn `throat = "56 in"` into `throat_m = 1.4224`, and refuse what no field is called."""
        if not isinstance(data, dict):
            return data
        read: dict[str, Any] = {}
        full_names = cls._full_names()
        for name, value in data.items():
            if name in cls.model_fields:
                ending = ending_of(name)
                if ending and isinstance(value, str):
                    raise PydanticCustomError(
                        "length_text",
                        "{name} takes a number in {si}; with a unit write {short} = {value}",
                        {
                            "name": name,
                            "si": _si(ending),
                            "short": name.removesuffix(ending),
                            "value": _repeated(value),
                        },
                    )
                read[name] = value
                continue
            full = full_names.get(name)
            if full is None:
                raise PydanticCustomError("unknown_field", "{problem}", {"problem": cls._unknown(name)})
            if full in data:
                raise PydanticCustomError(
                    "length_twice", "{name} and {full} are both given; keep one", {"name": name, "full": full}
                )
            read[full] = _quantity(name, ending_of(full), value)
        return read

    @classmethod
    def _full_names(cls) -> dict[str, str]:
        """Return the fields that may be typed with a unit, by their names without the ending."""
        return {name.removesuffix(ending): name for name in cls.model_fields if (ending := ending_of(name))}

    @classmethod
    def typed_names(cls) -> list[str]:
        """Return every name that a person may type for a field of this table."""
        return [*cls.model_fields, *cls._full_names()]

    @classmethod
    def _unknown(cls, name: str) -> str:
        near = difflib.get_close_matches(str(name), cls.typed_names(), n=1, cutoff=0.5)
        hint = f"did you mean {near[0]}?" if near else f"it may hold {', '.join(sorted(cls.typed_names()))}"
        return f"{quoted(name)!r} is not known here; {hint}"

    @classmethod
    def __get_pydantic_json_schema__(cls, core_schema: CoreSchema, handler: GetJsonSchemaHandler, /) -> JsonSchemaValue:
        """Describe both ways of giving a quantity."""
        schema = handler.resolve_ref_schema(handler(core_schema))
        properties = schema.get("properties", {})
        required: list[str] = schema.get("required", [])
        either: list[dict[str, Any]] = []
        for short, full in [(short, full) for short, full in cls._full_names().items() if full in properties]:
            about = properties[full].get("description", "")
            properties[short] = {"type": "string", "description": f"{about} As text with its unit.".strip()}
            if full in required:
                required.remove(full)
                either.append({"oneOf": [{"required": [full]}, {"required": [short]}]})
        if either:
            schema["allOf"] = [*schema.get("allOf", []), *either]
        return schema


def _si(ending: str) -> str:
    return QUANTITIES[ending].si if ending in QUANTITIES else "meters"


def _quantity(name: str, ending: str, value: Any) -> float:
    """Read a quantity that was typed without its field's ending; in SI."""
    if isinstance(value, (int, float)) and not isinstance(value, bool) and value != 0:
        unit = next(iter(QUANTITIES[ending].units)) if ending in QUANTITIES else "in"
        raise PydanticCustomError(
            "length_no_unit",
            '{name} = {value} has no unit; write {name} = "{value} {unit}", or {name}{ending} in {si}',
            {"name": name, "value": quoted(value), "unit": unit, "ending": ending, "si": _si(ending)},
        )
    text = value if isinstance(value, str) else quoted(value)
    try:
        return parse_quantity(text, QUANTITIES[ending]) if ending in QUANTITIES else parse_length_m(text)
    except LengthError as error:
        raise PydanticCustomError("length", "{name}: {why}", {"name": name, "why": str(error)}) from None


def _repeated(value: Any) -> str:
    if isinstance(value, float):
        return _number(value)
    return quoted(repr(value) if isinstance(value, str) else value)


def _number(value: float) -> str:
    return f"{value:,.0f}" if value.is_integer() and abs(value) < _MOST_IN_FULL else f"{value:.6g}"


_WORDS = {
    "missing": "is missing; add it",
    "greater_than": "must be over {gt}",
    "greater_than_equal": "must be at least {ge}",
    "less_than": "must be under {lt}",
    "less_than_equal": "must be at most {le}",
    "float_type": "must be a number",
    "float_parsing": "must be a number",
    "finite_number": "must be a finite number",
    "int_type": "must be a whole number",
    "int_parsing": "must be a whole number",
    "int_from_float": "must be a whole number",
    "int_parsing_size": "must be a smaller number",
    "string_type": "must be text, in quotes",
    "string_too_short": "must have at least {min_length} letters",
    "string_too_long": "must have at most {max_length} letters",
    "string_pattern_mismatch": "must match {pattern}",
    "bool_type": "must be true or false",
    "bool_parsing": "must be true or false",
    "literal_error": "must be {expected}",
    "enum": "must be {expected}",
    "too_short": "must hold at least {min_length}",
    "too_long": "must hold at most {max_length}",
    "tuple_type": "must be a list",
    "list_type": "must be a list",
    "dict_type": "must be a table",
    "model_type": "must be a table",
    "model_attributes_type": "must be a table",
    "extra_forbidden": "is not known here; leave it out",
}
"""What a bound that is passed says, by pydantic's name for it."""
_WHOLE = {"missing", "unknown_field", "length_text", "length_twice", "length_no_unit", "length"}
"""Of these the value is told already, or there is none."""


def what_is_wrong(found: ErrorDetails) -> str:
    """Say what is wrong with a field in words, without its name and its value."""
    known: dict[str, Any] = found.get("ctx") or {}
    if found["type"] == "value_error":
        return str(known["error"])
    words = _WORDS.get(found["type"])
    plain = {name: _plain(value) for name, value in known.items()}
    return found["msg"] if words is None else words.format_map(plain)


def _plain(value: Any) -> Any:
    """Write what a bound holds as people do: numbers in full, choices without quotes."""
    if isinstance(value, float):
        return _number(value)
    return value.replace("'", "") if isinstance(value, str) else value


def is_of_a_bound(found: ErrorDetails) -> bool:
    """Tell whether what is wrong reads on from the field's name: must be at least 3."""
    return found["type"] in _WORDS


def refusal_in(found: ErrorDetails) -> Refusal | None:
    """Return the refusal that names its own field and value; None for what a bound says."""
    error = (found.get("ctx") or {}).get("error")
    return error if isinstance(error, Refusal) and error.field else None


def value_of(found: ErrorDetails) -> str:
    """Say which value was given, where that is told in a few letters; else nothing."""
    got = found.get("input")
    is_told = found["type"] not in _WHOLE and isinstance(got, (int, float, str))
    return f", got {_repeated(got)}" if is_told else ""


def told_of(name: str, found: ErrorDetails) -> str:
    """Say in one line what is wrong: what the field is called, the bound, the value. name : empty for the whole."""
    gap = "" if not name else " " if is_of_a_bound(found) else ": "
    return f"{name}{gap}{what_is_wrong(found)}{value_of(found)}"


def place_of(found: ErrorDetails, passed_over: Collection[str] = ()) -> str:
    """Return where in a document something is wrong: `section[2].at_m`, its rows counted from 1; empty: the whole.

    passed_over : steps that are no fields.
    """
    where = ""
    for step in found["loc"]:
        if step in passed_over:
            continue
        where += f"[{step + 1}]" if isinstance(step, int) else f".{step}" if where else str(step)
    return where.removesuffix(ending_of(where)) if found["type"] == "missing" else where


def refusal_of(found: ErrorDetails, passed_over: Collection[str] = ()) -> Refusal:
    """Return what is wrong with a document as a refusal: where, the bound, the value. passed_over : as of place_of."""
    where = place_of(found, passed_over)
    own = refusal_in(found)
    if own is not None:
        if where in {"", own.field}:
            return own
        return Refusal(f"{where}: {own.text}", own.mend, field=f"{where}.{own.field}")
    return Refusal(told_of(where, found), field=where)


def one_line(error: ValidationError) -> str:
    """Say the first thing that is wrong in one line: where, the bound, the value."""
    first = error.errors(include_url=False)[0]
    more = error.error_count() - 1
    is_whole = refusal_in(first) is not None or first["type"] in _WHOLE
    return f"{refusal_of(first)}{f' (and {more} more)' if more and not is_whole else ''}"
