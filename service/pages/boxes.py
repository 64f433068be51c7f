"""What the fields of notes and refusals are called on the pages: by the label of the box that asks for them."""

from types import MappingProxyType

from service.pages.asked import MARK, MILL, PRICES, SHEET
from service.words.messages import Reader

OF_A_FILE = {
    "species": "Wood",
    "cost": "What the log cost",
    "end_trim": "Lost at each end",
    "bark": "Bark",
    "taped_length": "Its length by the tape",
    "unit": "The file is in",
    "up": "Up in the file is",
    "butt": "Butt end",
    "pick": "Which log of the scan",
}
"""Of what is said of a log beside its file (about_fields.html)."""

OF_A_WAY = {
    "roll_deg": "Roll, degrees clockwise from the butt",
    "shim_butt": "Under the butt end",
    "shim_top": "Under the top end",
    "heights": "Blade heights as the scale shows them, from the top",
    "made": "How many of these passes are made",
    "seen": "A face as you found it",
    "stretch": "What lies on the bed, from where to where from the butt end",
}
"""Of a way of one's own (way.html)."""

_PAGES = {"mill": "Mills", "prices": "Prices", "log": "New log", "marks": "Marks"}


def _labels() -> dict[str, str]:
    asked = {
        name: question.label
        for form in (SHEET, MARK, MILL, PRICES)
        for question in form.fields
        for name in (question.name, question.name.removesuffix("_m"))
    }
    return {name: f"“{label}”" for name, label in {**asked, **OF_A_FILE, **OF_A_WAY, **_PAGES}.items()}


PAGE = Reader(
    MappingProxyType({**_labels(), "log_sheet": "a log sheet", "backup": "a backup"}), "{answer} under {name}"
)
