"""What scans and optimizer say to users is data: no option of the command line, no unit outside of braces."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
OPTION = re.compile(r"--[a-z]|\bpithline\b")
UNIT = re.compile(
    r"(?:\d|\}|§) ?(?:(?:m|cm|mm|dm|m2|m3|kg|ft|lb|inch|inches|feet)\b|in(?=$|[.,;:)]| (?:wide|long|thick|high|x)\b))"
)
"""A number, or something filled in, with a unit behind it; not: 3 points in the file."""
EXAMPLES = ("9 ft 8 in, 38 1/2", "2 ft to 11 ft 6 in", "22 in x 8 ft", "0.95 m or 95 cm", "{value} in")
"""Ways to type a length, which are shown as they are to everybody."""
OF_PROGRAMS = {"ValueError", "KeyError", "TypeError", "RuntimeError", "AssertionError"}


def text_of(node: ast.AST) -> str:
    """Return the letters of a text, with a § where something is filled in."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return node.value
    if isinstance(node, ast.JoinedStr):
        return "".join(text_of(part) if isinstance(part, ast.Constant) else "§" for part in node.values)
    return ""


def messages_in(source: str) -> Iterator[str]:
    """Return every text of a module that a raise or a note is made of, those of names and functions it uses too."""
    tree = ast.parse(source)
    kept = {
        target.id: node.value
        for node in ast.walk(tree)
        if isinstance(node, ast.Assign)
        for target in node.targets
        if isinstance(target, ast.Name)
    }
    defined = {node.name: node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)}

    def told(node: ast.AST, seen: frozenset[str]) -> Iterator[str]:
        for part in ast.walk(node):
            if text := text_of(part):
                yield text
            if isinstance(part, ast.Name) and part.id not in seen:
                if part.id in kept:
                    yield from told(kept[part.id], seen | {part.id})
                elif part.id in defined:
                    for answer in ast.walk(defined[part.id]):
                        if isinstance(answer, ast.Return) and answer.value is not None:
                            yield from told(answer.value, seen | {part.id})

    for node in ast.walk(tree):
        if isinstance(node, ast.Raise) and isinstance(node.exc, ast.Call):
            if isinstance(node.exc.func, ast.Name) and node.exc.func.id not in OF_PROGRAMS:
                yield from told(node.exc, frozenset())
        elif isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "Note":
            yield from told(node, frozenset())


def wrong_in(source: str) -> list[str]:
    """Return the messages of a module that name an option, or a quantity with its unit."""
    found = []
    for text in messages_in(source):
        bare = text
        for example in EXAMPLES:
            bare = bare.replace(example, "")
        if OPTION.search(bare) or UNIT.search(bare):
            found.append(text)
    return found


@pytest.mark.parametrize("room", ["scans", "optimizer"])
def test_no_message_names_an_option_or_a_unit(room):
    wrong = {
        str(path.relative_to(ROOT)): found
        for path in sorted((ROOT / room).rglob("*.py"))
        if (found := wrong_in(path.read_text(encoding="utf-8")))
    }
    assert wrong == {}


@pytest.mark.parametrize(
    ("source", "is_wrong"),
    [
        ('raise ScanError("choose --unit m")', True),
        ('raise ScanError(f"the log is {length_m} m long")', True),
        ('_MEND = "write a sheet (pithline init)"\nraise ScanError("no", _MEND)', True),
        ('def why():\n    return "give --up z"\nraise ScanError(why())', True),
        ('notes.append(Note("a", "It is 3 ft long."))', True),
        ('raise ValueError("lays: 3 m")', False),
        ("raise ScanError(f\"choose {named('unit', 'm')}: {long_length(3.0)}\")", False),
    ],
)
def test_what_is_looked_for_is_found(source, is_wrong):
    assert bool(wrong_in(source)) is is_wrong
