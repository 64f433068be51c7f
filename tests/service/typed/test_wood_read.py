"""The wood of a log that was read: as it was named, and what the reader learns of how it was taken."""

import pytest

from service.typed.files import FileRead
from service.typed.log_reading import AboutLog, read_log

SHEET = """
{species}
[[section]]
at = "0 in"
wide = "16 in"
[[section]]
at = "10 ft"
wide = "12 in"
"""


@pytest.mark.parametrize("in_sheet", [True, False])
@pytest.mark.parametrize(
    ("asked", "name", "notes"),
    [("sugar maple", "maple, sugar", 0), ("red oak", "red oak", 1), ("norway maple", "maple", 1),
     ("not known", "unknown", 1)],
)  # fmt: skip
def test_a_group_a_genus_and_a_wood_that_nobody_knows_are_told(
    asked: str, name: str, notes: int, in_sheet: bool
) -> None:
    sheet = SHEET.format(species=f'species = "{asked}"' if in_sheet else "")

    read = read_log(FileRead("log.toml", sheet.encode(), "0" * 64), AboutLog(species=None if in_sheet else asked))

    assert read.wood.name == name
    assert len(read.warnings) == notes
