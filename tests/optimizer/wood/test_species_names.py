import csv
import pkgutil

import pytest

from optimizer.wood.species_names import ALIASES, ALIKE, GROUPS, OTHER_TREES
from optimizer.wood.woods import UnknownSpeciesError, find_wood, known_woods, wider_names


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
    words = [frozenset(alias.split()) for alias in (*ALIASES, *GROUPS, *ALIKE, *OTHER_TREES)]

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
    ("asked", "name", "count", "heaviest"),
    [
        ("oak", "oak", 9, "oak, live"),
        ("Quercus", "oak", 9, "oak, live"),
        ("red oak", "red oak", 4, None),
        ("white oak group", "white oak group", 4, None),
        ("hickory", "hickory", 4, None),
        ("elm", "elm", 5, None),
        ("ash", "ash", 3, None),
        ("maple", "maple", 4, "maple, sugar"),
        ("pine", "pine", 7, None),
        ("Southern Yellow Pine", "southern yellow pine", 3, None),
        ("soft maple", "soft maple", 2, "maple, red"),
    ],
)
def test_a_group_is_as_heavy_as_its_heaviest_and_shrinks_as_its_mean(asked, name, count, heaviest):
    wood = find_wood(asked)

    assert (wood.name, len(wood.group), wood.known) == (name, count, True)
    assert wood.green_density_kg_m3 == max(each.green_density_kg_m3 for each in wood.group)
    assert wood.bark_density_kg_m3 == max(each.bark_density_kg_m3 for each in wood.group)
    for field in ("shrinkage_radial_pct", "shrinkage_tangential_pct", "shrinkage_volumetric_pct"):
        assert getattr(wood, field) == pytest.approx(sum(getattr(each, field) for each in wood.group) / count)
    for diameter_m in (0.2, 0.6):
        ratios = [each.bark_ratio(diameter_m) for each in wood.group]
        assert wood.bark_ratio(diameter_m) == pytest.approx(sum(ratios) / count)
    assert heaviest is None or find_wood(heaviest).green_density_kg_m3 == wood.green_density_kg_m3
    assert wood.taken_as
    assert find_wood(wood.name) == wood


@pytest.mark.parametrize(("tree", "taken_as"), OTHER_TREES.items())
def test_a_tree_that_the_table_does_not_hold_is_taken_by_its_genus_and_says_so(tree, taken_as):
    wood = find_wood(tree.title())

    assert wood.name == find_wood(taken_as).name
    assert wood.green_density_kg_m3 == find_wood(taken_as).green_density_kg_m3
    assert tree.capitalize() in wood.taken_as
    assert tree not in find_wood(taken_as).taken_as.lower()


def test_a_wood_of_the_table_is_taken_as_nothing_else():
    assert all(find_wood(name).taken_as == "" for name in known_woods())
    assert find_wood("Not Known").taken_as == ""
    assert find_wood("not known") is find_wood("")


@pytest.mark.parametrize(
    ("name", "groups"),
    [
        ("oak, white", ("white oak group", "oak")),
        ("oak, northern red", ("red oak", "oak")),
        ("oak, live", ("oak",)),
        ("red oak", ("oak",)),
        ("oak", ()),
        ("pine, loblolly", ("southern pine", "southern yellow pine", "yellow pine", "pine")),
        ("walnut, black", ()),
        ("unknown", ()),
    ],
)
def test_the_groups_of_a_wood_the_narrowest_first(name, groups):
    assert wider_names(name) == groups


@pytest.mark.parametrize(("short", "count"), [("cedar", 3), ("gum", 3), ("poplar", 3), ("locust", 2)])
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
