"""What people type, as documents: unknown fields refused, quantities as text with a unit.

A field that ends in `_m` may be given as a number in metres under its own name (`throat_m = 1.42`) or,
without the ending, as text with a unit (`throat = "56 in"`); both at once are refused. So may the quantities that
scans/units.py names: `max_log_mass_kg = 4000` or `max_log_mass = "8800 lb"`.

Unknown fields are refused with the nearest name, as a mistyped limit that is passed over could cost a log. TOML takes
comments and needs no indentation.
"""

import difflib
from typing import Any

from pydantic import BaseModel, ConfigDict, ValidationError, model_validator
from pydantic.annotated_handlers import GetJsonSchemaHandler
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema, PydanticCustomError

from scans.messages import quoted
from scans.units import QUANTITIES, LengthError, parse_length_m, parse_quantity

LENGTH_ENDING = "_m"
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
        return f"{quoted(name)} is no field here; {hint}"

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
    return QUANTITIES[ending].si if ending in QUANTITIES else "metres"


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
    return quoted(repr(value) if isinstance(value, str) else value)


def one_line(error: ValidationError) -> str:
    """Say the first thing that is wrong in one line: where, the bound, the value."""
    first = error.errors(include_url=False)[0]
    where = ""
    for step in first["loc"]:
        where += f"[{step + 1}]" if isinstance(step, int) else f".{step}" if where else str(step)
    message = first["msg"]
    if first["type"] == "missing":
        where = where.removesuffix(ending_of(where))
        return f"{where} is missing; add it"
    if first["type"] in {"unknown_field", "length_text", "length_twice", "length_no_unit", "length"}:
        return f"{where}: {message}" if where else message
    message = message.removeprefix("Value error, ").replace("Input should", "must")
    got = first.get("input")
    shown = f", got {_repeated(got)}" if isinstance(got, (int, float, str)) else ""
    more = error.error_count() - 1
    rest = f" (and {more} more)" if more else ""
    return f"{where}: {message}{shown}{rest}" if where else f"{message}{shown}{rest}"
