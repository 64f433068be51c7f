"""Examples of what the API takes, for its description: the samples that come with Pithline, and small ones."""

import tomllib
from typing import Any

from fastapi.openapi.models import Example

from service.typed.files import MILL_FILE, PRICES_FILE, SHEET_FILE, read_sample


def _sample(name: str) -> dict[str, Any]:
    return tomllib.loads(read_sample(name).data.decode())


def _examples(**values: tuple[str, Any]) -> dict[str, Example]:
    return {name: Example(summary=summary, value=value) for name, (summary, value) in values.items()}


MILLS = _examples(
    sample=("The invented mill that comes with Pithline.", _sample(MILL_FILE)),
    least=("As little as a mill may say.", {"throat": "40 in", "kerf": "1/16 in", "height_step": "1/16 in"}),
)
PRICE_BOOKS = _examples(
    sample=("The invented price book that comes with Pithline.", _sample(PRICES_FILE)),
    least=(
        "As little as a price book may say.",
        {
            "per_board_foot": [{"species": "any", "quarters": 8, "price": 5.0}],
            "limits": {"min_width": "8 in", "min_length": "4 ft"},
        },
    ),
)
SHEETS = _examples(
    sample=("The invented forked maple that comes with Pithline.", _sample(SHEET_FILE)),
    least=("One stem.", {"section": [{"at": "0 in", "wide": "24 in"}, {"at": "8 ft", "girth": "5 ft 6 in"}]}),
)
MARKS = _examples(
    measured=(
        "Metal, measured along the log and round it.",
        {"kind": "metal", "at": "3 ft", "toward_deg": 300, "radius": "1 in", "depth": "4 in"},
    ),
    pointed_out=(
        "A knot, pointed out on the surface.",
        {"kind": "knot", "x_m": 0.7, "y_m": 0.0, "z_m": 0.19, "radius_m": 0.03, "depth_m": 0.1},
    ),
    pith=("The pith, seen on the butt end.", {"kind": "pith", "at": "0 in", "toward_deg": 90, "from_middle": "2 in"}),
)
PLANS = _examples(
    usual=("On the mill and prices that were written last.", {}),
    quick=("A quick look.", {"lays": 60, "seconds": 20}),
)
WAYS = _examples(
    my_way=("A roll, a shim and three passes.", {"roll_deg": 35, "shim_butt": "1 in", "heights": "20, 17 5/8, 15 1/4"}),
    plan_on=(
        "Two passes are made; the first face was measured; plan the rest.",
        {"roll_deg": 35, "heights": "20, 17 5/8", "made": 2, "seen": ["1: 22 in x 8 ft"]},
    ),
)
_SHORTEST_SHEET = """length = "8 ft"
[[section]]
at = "0 in"
wide = "24 in"
[[section]]
at = "8 ft"
girth = "5 ft 6 in"
"""
FORMS = _examples(
    scan=(
        "A scan, and what is known of it.",
        {"file": "(the bytes of log.ply)", "name": "Orchard Road maple", "species": "sugar maple"},
    ),
    sheet=("A log sheet, which says all of it itself.", {"file": _SHORTEST_SHEET}),
)
FILES = _examples(
    sheet=("A log sheet; file_name in the address ends in .toml.", _SHORTEST_SHEET),
    scan=("A scan; file_name in the address ends as its kind of file does.", "(the bytes of log.ply)"),
)
SCAN_FORMS = _examples(
    found=("A second scan; how far the log was rolled is found.", {"file": "(the bytes of log2.ply)"}),
    told=("A second scan, and the roll.", {"file": "(the bytes of log2.ply)", "rolled_deg": "150"}),
)
SCAN_FILES = _examples(
    scan=("A scan; file_name in the address ends as its kind of file does.", "(the bytes of log2.ply)"),
)
SCANS = _examples(told=("It was rolled 150 degrees clockwise, looking at the butt.", {"rolled_deg": 150}))
CHANGES = _examples(
    name=("Another name.", {"name": "Orchard Road maple"}),
    about=("Something else is said of it, which reads it again.", {"about": {"species": "sugar maple", "bark": "on"}}),
)
