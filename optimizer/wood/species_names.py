"""From what people call a tree to the table's name for it.

The order of the words and their case do not matter: a name is the set of its words. The trade names in
this module are common usage, from memory.
"""

import difflib
import re
from collections.abc import Iterable, Mapping

from scans.messages import Refusal, named, quoted

ALIASES: Mapping[str, str] = {
    "american black walnut": "walnut, black",
    "american walnut": "walnut, black",
    "bald cypress": "baldcypress",
    "big leaf maple": "maple, bigleaf",
    "black birch": "birch, sweet",
    "black gum": "tupelo, black",
    "blackgum": "tupelo, black",
    "bois d'arc": "osage-orange",
    "cherry birch": "birch, sweet",
    "common hackberry": "hackberry",
    "cypress": "baldcypress",
    "eastern black walnut": "walnut, black",
    "eastern larch": "tamarack",
    "eastern red cedar": "cedar, eastern redcedar",
    "eastern redcedar": "cedar, eastern redcedar",
    "engelmann": "spruce, engelmann",
    "hard maple": "maple, sugar",
    "hedge": "osage-orange",
    "hedge apple": "osage-orange",
    "honey locust": "honeylocust",
    "linden": "basswood, american",
    "american linden": "basswood, american",
    "mockernut": "hickory, mockernut",
    "oregon maple": "maple, bigleaf",
    "osage": "osage-orange",
    "pecan": "hickory, pecan",
    "pignut": "hickory, pignut",
    "red elm": "elm, slippery",
    "red gum": "sweetgum",
    "rock maple": "maple, sugar",
    "shagbark": "hickory, shagbark",
    "sitka": "spruce, sitka",
    "sour gum": "tupelo, black",
    "sweet gum": "sweetgum",
    "tulip poplar": "yellow-poplar",
    "tulip tree": "yellow-poplar",
    "tuliptree": "yellow-poplar",
    "tulipwood": "yellow-poplar",
    "western red cedar": "cedar, western redcedar",
    "western redcedar": "cedar, western redcedar",
    "white birch": "birch, paper",
    "white elm": "elm, american",
    "white walnut": "butternut",
}
"""Other names of one wood of the table."""

GROUPS: Mapping[str, tuple[str, ...]] = {
    "gum": ("sweetgum", "tupelo, black", "tupelo, water"),
    "larch": ("larch, western", "tamarack"),
    "locust": ("honeylocust", "locust, black"),
    "poplar": ("aspen, quaking", "cottonwood, eastern", "yellow-poplar"),
    "red cedar": ("cedar, eastern redcedar", "cedar, western redcedar"),
    "redcedar": ("cedar, eastern redcedar", "cedar, western redcedar"),
    "soft maple": ("maple, red", "maple, silver"),
    "southern pine": ("pine, loblolly", "pine, longleaf", "pine, shortleaf"),
    "southern yellow pine": ("pine, loblolly", "pine, longleaf", "pine, shortleaf"),
    "yellow pine": ("pine, loblolly", "pine, longleaf", "pine, shortleaf"),
}
"""Names that mean several woods of the table, and would otherwise find one or none."""


class UnknownSpeciesError(Refusal):
    """A species that the table does not hold, or a name that fits several."""


def match_species(query: str, scientific_names: Mapping[str, str]) -> str:
    """Return the table's name that a query means.

    query : any case and order of words; a scientific name; a trade name; or the kind alone ("beech") if the
        table has one wood of that kind.
    scientific_names : by the table's name in lower case; synonyms after "syn.".

    Raises UnknownSpeciesError, with the nearest name or with the choices.
    """
    wanted = _words(query)
    names = _names_by_words(scientific_names)
    if wanted in names:
        return names[wanted]
    choices = next((woods for group, woods in GROUPS.items() if _words(group) == wanted), None)
    if choices is None:
        choices = tuple(sorted(n for n in scientific_names if _fits(wanted, n, scientific_names[n])))
    if len(choices) == 1:
        return choices[0]
    if choices:
        raise UnknownSpeciesError(
            f'"{quoted(query)}" may be any of {_listed(choices)}',
            f"give one of them as {named('species')}",
            field="species",
        )
    raise UnknownSpeciesError(
        _unknown(query, scientific_names), f"leave {named('species')} out if you don't know the wood", field="species"
    )


def _words(name: str) -> frozenset[str]:
    return frozenset(re.findall(r"[^\W_]+", name.casefold()))


def _scientific(text: str) -> list[str]:
    """Return "Quercus montana (syn. Q. prinus)" as its two names, the genus written out."""
    first, *synonyms = re.split(r"\s*\(syn\.\s*", text.rstrip(")"))
    genus = first.split()[0]
    return [first, *(re.sub(r"^\S+", genus, synonym) for synonym in synonyms)]


def _names_by_words(scientific_names: Mapping[str, str]) -> dict[frozenset[str], str]:
    names = {_words(alias): name for alias, name in ALIASES.items() if name in scientific_names}
    names |= {_words(s): name for name, text in scientific_names.items() for s in _scientific(text)}
    return names | {_words(name): name for name in scientific_names}


def _fits(wanted: frozenset[str], name: str, scientific: str) -> bool:
    """Tell whether a query names the kind (all that stands before the comma), and nothing else than the name."""
    kind = _words(name.split(",", maxsplit=1)[0])
    genus = _words(scientific.split(maxsplit=1)[0])
    return (kind <= wanted <= _words(name)) or wanted == genus


def _listed(names: Iterable[str]) -> str:
    return ", ".join(f'"{name}"' for name in names)


def _unknown(query: str, scientific_names: Mapping[str, str]) -> str:
    """Return the line for a query that fits nothing, with what its spelling is nearest to."""
    spellings: dict[str, list[str]] = {}
    for name, text in scientific_names.items():
        kind, _, which = name.partition(", ")
        for spelling in {_plain(each) for each in (kind, name, f"{which} {kind}", *_scientific(text))}:
            spellings.setdefault(spelling, []).append(name)
    for alias, name in ALIASES.items():
        spellings.setdefault(_plain(alias), [name])
    near = difflib.get_close_matches(_plain(query), spellings, n=1, cutoff=0.5)
    names = spellings[near[0]] if near else []
    nearest = f"; nearest to it: {_listed(names)}" if names else ""
    return f'"{quoted(query)}" is not a wood in the table{nearest}'


def _plain(name: str) -> str:
    return " ".join(re.findall(r"[^\W_]+", name.casefold()))
