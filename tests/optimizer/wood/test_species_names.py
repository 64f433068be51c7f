import csv
import pkgutil

import pytest

from optimizer.wood.species_names import ALIASES, GROUPS
from optimizer.wood.woods import UnknownSpeciesError, find_wood, known_woods


def rows(name):
    return list(csv.DictReader(pkgutil.get_data("optimizer.wood.woods", name).decode().splitlines()))


SPECIES = rows("species.csv")
BARK = rows("bark.csv")
# Where the two files name one tree differently, by both their names.
NAMED_OTHERWISE = {
    "Blackgum": "tupelo, black",
    "Tuliptree": "yellow-poplar",
    "Pecan": "hickory, pecan",
    "Common hackberry": "hackberry",
    "Eastern redcedar": "cedar, eastern redcedar",
}


def test_data_files_are_whole():
    assert len(SPECIES) == 70
    assert len(BARK) == 43
    assert len({row["common_name"] for row in SPECIES}) == 70
    assert {row["status"] for row in SPECIES} == {"seen", "memory"}
    assert all(row["note"].startswith("memory fields:") for row in SPECIES if row["status"] == "memory")


@pytest.mark.parametrize("row", SPECIES, ids=lambda row: row["common_name"])
def test_every_species_by_any_spelling(row):
    name = row["common_name"].lower()
    kind, _, which = name.partition(", ")
    binomial = row["scientific_name"].split(" (")[0]

    for spelling in (
        row["common_name"],
        name,
        name.upper(),
        f"  {which} {kind} ",
        f"{kind} {which}",
        name.replace("-", " "),
        binomial,
        binomial.lower(),
    ):
        assert find_wood(spelling).name == name, spelling


@pytest.mark.parametrize("row", BARK, ids=lambda row: row["species"])
def test_every_row_of_the_bark_table_has_its_wood(row):
    words = frozenset(row["species"].lower().split())
    wood = find_wood(row["species"])

    if row["species"] in NAMED_OTHERWISE:
        assert wood.name == NAMED_OTHERWISE[row["species"]]
    else:
        assert frozenset(wood.name.replace(",", "").split()) == words
    # The row reached this wood, not only some wood.
    assert wood.bark_intercept_in == (float(row["intercept_in"]) if row["intercept_in"] else None)
    assert wood.bark_slope == (float(row["slope"]) if row["slope"] else None)
    listed = [row[f"ratio_{region}"] for region in ("northeast", "central_states", "lake_states")]
    assert wood.bark_ratios == tuple(float(ratio) for ratio in listed if ratio)


def test_no_two_bark_rows_share_a_wood():
    assert len({find_wood(row["species"]).name for row in BARK}) == len(BARK)


@pytest.mark.parametrize("name", ["sugar maple", "Maple, Sugar", "maple, sugar", "MAPLE sugar"])
def test_case_and_order_of_words(name):
    assert find_wood(name).name == "maple, sugar"


@pytest.mark.parametrize(("alias", "name"), ALIASES.items())
def test_every_alias_finds_its_wood(alias, name):
    assert find_wood(alias).name == name
    assert find_wood(alias.upper()).name == name


def test_no_alias_shadows_a_name_or_a_group():
    words = [frozenset(alias.split()) for alias in (*ALIASES, *GROUPS)]

    assert len(set(words)) == len(words)
    assert not set(words) & {frozenset(n.replace(",", "").split()) for n in known_woods()}


@pytest.mark.parametrize(("group", "choices"), GROUPS.items())
def test_every_group_lists_its_woods(group, choices):
    assert len(choices) > 1
    assert set(choices) <= set(known_woods())
    with pytest.raises(UnknownSpeciesError) as caught:
        find_wood(group)
    assert all(f'"{name}"' in str(caught.value) for name in choices)


@pytest.mark.parametrize(
    ("short", "name"),
    [
        ("pecan", "hickory, pecan"),
        ("hackberry", "hackberry"),
        ("basswood", "basswood, american"),
        ("beech", "beech, american"),
        ("cherry", "cherry, black"),
        ("walnut", "walnut, black"),
        ("sycamore", "sycamore, american"),
        ("douglas fir", "douglas-fir, coast"),
        ("redwood", "redwood, old-growth"),
        ("white pine", "pine, eastern white"),
        ("Liquidambar", "sweetgum"),
    ],
)
def test_short_names_that_mean_one_wood(short, name):
    assert find_wood(short).name == name


@pytest.mark.parametrize(
    ("short", "count"), [("oak", 9), ("maple", 4), ("ash", 3), ("Quercus", 9), ("red oak", 2), ("hickory", 4)]
)
def test_short_names_that_mean_several_list_them(short, count):
    with pytest.raises(UnknownSpeciesError, match="may be any of") as caught:
        find_wood(short)

    line = str(caught.value)
    assert line.count('"') == 2 * (count + 1)
    assert "\n" not in line


@pytest.mark.parametrize("scientific", ["Quercus prinus", "Quercus montana", "Carya alba", "carya tomentosa"])
def test_both_of_two_scientific_names(scientific):
    assert find_wood(scientific).name in {"oak, chestnut", "hickory, mockernut"}
    assert find_wood(scientific).scientific_name.startswith(scientific.split()[0].capitalize())


@pytest.mark.parametrize(
    ("misspelt", "nearest"),
    [
        ("suger maple", '"maple, sugar"'),
        ("Mapel, sugar", '"maple, sugar"'),
        ("wallnut", '"walnut, black"'),
        ("Juglans nigraa", '"walnut, black"'),
        ("tulip poplr", '"yellow-poplar"'),
        ("mapple", '"maple, red"'),
    ],
)
def test_misspelt_name_is_offered_the_nearest(misspelt, nearest):
    with pytest.raises(UnknownSpeciesError, match="is not a wood in the table") as caught:
        find_wood(misspelt)

    line = str(caught.value)
    assert line.startswith(f'"{misspelt}"')
    assert nearest in line
    assert "\n" not in line


@pytest.mark.parametrize("nonsense", ["xqzzt", "common", "black", "?", "sugar"])
def test_what_names_no_tree_is_refused(nonsense):
    with pytest.raises(ValueError, match="is not a wood in the table"):
        find_wood(nonsense)


def test_nothing_is_offered_for_what_is_like_nothing():
    with pytest.raises(UnknownSpeciesError) as caught:
        find_wood("xqzzt")

    assert str(caught.value) == ('"xqzzt" is not a wood in the table; leave {:species} out if you don\'t know the wood')
