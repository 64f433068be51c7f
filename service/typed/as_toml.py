"""Writes a document as TOML, so that a log sheet is kept in one form however it came, and mills can be taken home."""

import json
from collections.abc import Mapping
from typing import Any

_DELETE = "\x7f"


def as_toml(document: Mapping[str, Any]) -> str:
    """Return a document of texts, numbers, lists and tables as TOML 1.0; what is None is left out."""
    return "".join(f"{_key(name)} = {_value(value)}\n" for name, value in document.items() if value is not None)


def _key(name: str) -> str:
    return name if name.replace("_", "").replace("-", "").isalnum() and name.isascii() else _text(name)


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, Mapping):
        inside = ", ".join(f"{_key(name)} = {_value(item)}" for name, item in value.items() if item is not None)
        return f"{{{inside}}}"
    if isinstance(value, (list, tuple)):
        return f"[{', '.join(_value(item) for item in value)}]"
    if isinstance(value, (int, float)):
        return repr(value)
    return _text(str(value))


def _text(text: str) -> str:
    # TOML's basic strings are JSON's, but for one character that it wants escaped.
    return json.dumps(text, ensure_ascii=False).replace(_DELETE, "\\u007f")
