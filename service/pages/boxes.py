"""What the fields of notes and refusals are called on the pages: by the label of the box that asks for them."""

from types import MappingProxyType

from service.pages.asked import MARK, MILL, PRICES, SHEET
from service.words.messages import Reader

OF_A_FILE = {
    "species": "Wood",
    "cost": "What you paid for it",
    "haul": "Hauling it costs",
    "fee_received": "You are paid to take it",
    "end_trim": "Lost at each end",
    "bark": "Bark",
    "bark_thickness": "Bark thickness, by an axe cut",
    "taped_length": "Length by your tape",
    "girth": "Girths by your tape",
    "unit": "The file is in",
    "up": "Which way is up in the file",
    "butt": "Butt end",
    "pick": "Which log, if the scan shows several",
}
"""Of what is said of a log beside its file (log_new.html, about_fields.html)."""

OF_A_WAY = {
    "roll_deg": "Roll, degrees",
    "roll_side": "Which way, looking at the butt",
    "shim_butt": "Shim under the butt end",
    "shim_top": "Shim under the top end",
    "heights": "Blade heights on your mill's scale, from the top",
    "made": "How many you have made",
    "seen": "Size of the face after a cut",
    "buck_at": "Buck cuts",
    "stretch": "Part on the bed, measured from the butt",
}
"""Of a way of one's own (way.html)."""

OF_A_SCAN = {"rolled_deg": "How far did you roll it, degrees"}
"""Of a scan of a log beside its first (log.html)."""

OF_A_SEARCH = {"set": "Slabs you must get"}
"""Of how a log is planned (log.html)."""

_PAGES = {
    "per_board_foot": "Prices by wood and thickness",
    "mill": "Mills",
    "prices": "Prices",
    "log": "New log",
    "marks": "Marks",
}


def _labels() -> dict[str, str]:
    asked = {
        name: question.label
        for form in (SHEET, MARK, MILL, PRICES)
        for question in form.fields
        for name in (question.name, question.name.removesuffix("_m"))
    }
    return {
        name: f"“{label}”"
        for name, label in {**asked, **OF_A_FILE, **OF_A_WAY, **OF_A_SCAN, **OF_A_SEARCH, **_PAGES}.items()
    }


PAGE = Reader(
    MappingProxyType({**_labels(), "log_sheet": "a log sheet", "backup": "a backup"}), "{answer} under {name}"
)
