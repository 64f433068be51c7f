"""Writes a document as TOML, so that a log sheet is kept in one form however it came, and mills can be taken home."""

from collections.abc import Mapping
from typing import Any

import tomli_w


def as_toml(document: Mapping[str, Any]) -> str:
    """Return a document of texts, numbers, lists and tables as TOML 1.0; what is None is left out."""
    return tomli_w.dumps(_told(document))


def _told(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {name: _told(item) for name, item in value.items() if item is not None}
    if isinstance(value, (list, tuple)):
        return [_told(item) for item in value]
    return value
