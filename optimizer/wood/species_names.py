"""From what people call a tree to the table's name for it.

The order of the words and their case do not matter: a name is the set of its words. The trade names in
this module are common usage, from memory; so is the genus of each tree of `OTHER_TREES`.
"""

import difflib
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

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
}
"""Names that mean several woods of the table, too unlike one another to be taken as one."""

_RED_OAKS = ("oak, black", "oak, northern red", "oak, scarlet", "oak, southern red")
_WHITE_OAKS = ("oak, bur", "oak, chestnut", "oak, post", "oak, white")
_SOUTHERN_PINES = ("pine, loblolly", "pine, longleaf", "pine, shortleaf")
ALIKE: Mapping[str, tuple[str, ...]] = {
    "red oak": _RED_OAKS,
    "white oak group": _WHITE_OAKS,
    "soft maple": ("maple, red", "maple, silver"),
    "southern pine": _SOUTHERN_PINES,
    "southern yellow pine": _SOUTHERN_PINES,
    "yellow pine": _SOUTHERN_PINES,
}
"""Names that mean several woods of the table, alike enough to be taken as one. All woods of one kind and one genus
("oak", "hickory", "pine") are so too."""

OTHER_TREES: Mapping[str, str] = {
    "austrian pine": "pine",
    "blue ash": "ash",
    "blue spruce": "spruce",
    "box elder": "maple",
    "boxelder": "maple",
    "cherrybark oak": "red oak",
    "chinese elm": "elm",
    "english elm": "elm",
    "english oak": "white oak group",
    "english walnut": "walnut",
    "european ash": "ash",
    "european beech": "beech",
    "european linden": "basswood",
    "japanese maple": "maple",
    "littleleaf linden": "basswood",
    "london plane": "sycamore",
    "norway maple": "maple",
    "norway spruce": "spruce",
    "overcup oak": "white oak group",
    "pin oak": "red oak",
    "pumpkin ash": "ash",
    "river birch": "birch",
    "scotch pine": "pine",
    "scots pine": "pine",
    "shumard oak": "red oak",
    "siberian elm": "elm",
    "swamp white oak": "white oak group",
    "sweet cherry": "cherry",
    "sycamore maple": "maple",
    "water oak": "red oak",
    "weeping willow": "willow",
    "willow oak": "red oak",
}
"""Trees of streets and yards that the table does not hold, and what of their own genus they are taken as."""


@dataclass(frozen=True)
class Match:
    """What a name means.

    name : the table's name of the wood, or that of a group. woods : the woods that it means, one or more. stands_for :
    the tree that was named, where the table does not hold it; else empty.
    """

    name: str
    woods: tuple[str, ...]
    stands_for: str = ""


class UnknownSpeciesError(Refusal):
    """A species that the table does not hold, or a name that fits several."""


def match_species(query: str, scientific_names: Mapping[str, str]) -> Match:
    """Return what a query means of the table.

    query : any case and order of words; a scientific name; a trade name; the kind or the genus alone ("beech", "oak"),
        or another group of woods; or a tree whose genus the table has.
    scientific_names : by the table's name in lower case; synonyms after "syn.".

    Raises UnknownSpeciesError, with the nearest name or with the choices.
    """
    wanted = _words(query)
    names = _names_by_words(scientific_names)
    if wanted in names:
        return Match(names[wanted], (names[wanted],))
    for tree, taken_as in OTHER_TREES.items():
        if _words(tree) == wanted:
            found = match_species(taken_as, scientific_names)
            return Match(found.name, found.woods, tree)
    for group, woods in ALIKE.items():
        if _words(group) == wanted:
            return Match(group, woods)
    choices = next((woods for group, woods in GROUPS.items() if _words(group) == wanted), None)
    if choices is None:
        choices = tuple(sorted(n for n in scientific_names if _fits(wanted, n, scientific_names[n])))
    if len(choices) == 1:
        return Match(choices[0], choices)
    kinds = {name.split(",", maxsplit=1)[0] for name in choices}
    genera = {scientific_names[name].split(maxsplit=1)[0] for name in choices}
    if len(kinds) == len(genera) == 1:
        return Match(kinds.pop(), choices)
    if choices:
        raise UnknownSpeciesError(
            f'"{quoted(query)}" may be any of {_listed(choices)}',
            f"give one of them as {named('species')}",
            field="species",
        )
    raise UnknownSpeciesError(
        _unknown(query, scientific_names), f"leave {named('species')} out if you don't know the wood", field="species"
    )


def groups_of(name: str, scientific_names: Mapping[str, str]) -> tuple[str, ...]:
    """Return the groups that a wood or a group belongs to, the narrowest first, not itself."""
    own = set(match_species(name, scientific_names).woods)
    kinds = sorted({wood.split(",", maxsplit=1)[0] for wood in own})
    found: dict[str, int] = {}
    for group in (*ALIKE, *kinds):
        try:
            match = match_species(group, scientific_names)
        except UnknownSpeciesError:
            continue
        if match.name != name and len(match.woods) > 1 and own <= set(match.woods):
            found[match.name] = len(match.woods)
    return tuple(sorted(found, key=lambda group: (found[group], group)))


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
