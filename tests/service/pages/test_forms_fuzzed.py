"""Every form of the pages, sent with what nobody types: each answer is a page or leads on, and nothing breaks."""

import re
from urllib.parse import quote_plus

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from kept_pages import Pages
from odd_texts import ODD_TEXTS

from service.pages import router
from service.pages.asked import MARK, MILL, PRICES, SHEET
from service.pages.log_pages import ABOUT_FIELDS
from service.pages.new_log_pages import UPLOAD_FIELDS
from service.web.api_errors import routes_of

FORMS = sorted({route.path for route in routes_of(router) if "POST" in (getattr(route, "methods", None) or ())})
CHANGES_WHAT_ALL_USE = re.compile(r"(remove|about|cancel)$|^/sign-")
ROW_NUMBERS = ("0", "1", "9999", "10000", "-1", "x", "²", "٣", "*", "", "01", "9" * 5000, "1.section.0")
NAMES = [
    *(field.name for asked in (MILL, PRICES, SHEET, MARK) for field in asked.fields),
    *ABOUT_FIELDS, *UPLOAD_FIELDS, "roll_deg", "roll_side", "shim_butt", "shim_top", "heights", "made", "seen",
    "stretch",
    "mill_id", "prices_id", "more", "units", "back", "next", "passphrase", "search", "order", "width", "length",
    "file", "rolled_deg",
]  # fmt: skip
GOOD_TEXTS = (
    "20",
    "8 ft",
    "1 1/2 in",
    "on",
    "any",
    "metal",
    "section",
    "limb.0.section",
    "per_board_foot",
    "metric",
    "0",
)
KINDS = (
    "application/x-www-form-urlencoded", "multipart/form-data; boundary=b",
    "multipart/form-data; boundary=b; charset=a%b",
    "multipart/form-data; boundary=b; charset=undefined", "multipart/form-data; boundary=b; charset=utf-7",
    "multipart/form-data; boundary=b; charset=unicode_escape", "multipart/form-data; boundary=" + "b" * 300,
    "multipart/form-data", "application/json", "",
)  # fmt: skip


@st.composite
def names(draw: st.DrawFn) -> str:
    name = draw(st.sampled_from(NAMES) | st.sampled_from(ODD_TEXTS) | st.text(max_size=10))
    while ".*." in name:
        name = name.replace("*", draw(st.sampled_from(ROW_NUMBERS[:2]) | st.sampled_from(ROW_NUMBERS)), 1)
        if "*" in name and draw(st.booleans()):
            break
    return name + draw(st.sampled_from(("", "", "", ".0", ".")))


VALUES = st.sampled_from(ODD_TEXTS) | st.sampled_from(GOOD_TEXTS) | st.text(max_size=20)
TYPED = st.lists(st.tuples(names(), VALUES), max_size=12)


def body_of(typed: list[tuple[str, str]], kind: str) -> bytes:
    encoded = [(name.encode(errors="surrogatepass"), value.encode(errors="surrogatepass")) for name, value in typed]
    if not kind.startswith("multipart"):
        return "&".join(f"{quote_plus(name)}={quote_plus(value)}" for name, value in encoded).encode()
    parts = [
        b'--b\r\nContent-Disposition: form-data; name="%b"\r\n\r\n%b\r\n' % (re.sub(rb"[\r\n\"\0]", b"", name), value)
        for name, value in encoded
    ]
    return b"".join([*parts, b"--b--\r\n"])


def test_every_form_is_among_them() -> None:
    assert len(FORMS) > 20
    assert {"/logs", "/logs/sheet", "/check/way", "/prices/{prices_id}"} <= set(FORMS)


@pytest.mark.parametrize("path", FORMS)
def test_no_form_breaks_whatever_is_sent(path: str, client: Pages, log_id: str, plan_id: str) -> None:
    ids = {"log_id": log_id, "plan_id": plan_id, "which": "1", "mill_id": "new", "prices_id": "new"}
    kept = {} if CHANGES_WHAT_ALL_USE.search(path) else ids

    @settings(
        max_examples=25, phases=[Phase.generate], deadline=None, database=None, derandomize=True,
        suppress_health_check=list(HealthCheck),
    )  # fmt: skip
    @given(TYPED, st.sampled_from(KINDS[:1]) | st.sampled_from(KINDS), st.sampled_from(("", "units=metric", "units=²")))
    def send(typed: list[tuple[str, str]], kind: str, cookie: str) -> None:
        address = re.sub(r"{(\w+)}", lambda name: kept.get(name[1], "0" * 32), path)
        headers = {"Content-Type": kind.encode(), "Cookie": cookie.encode()}
        sent = client.post(address, content=body_of(typed, kind), headers=headers, follow_redirects=False)
        assert sent.status_code < 500, (typed, kind)

    send()


@pytest.mark.parametrize(
    "path", ["/check/sheet", "/check/prices", "/check/mill", "/check/mark", "/check/way", "/logs/sheet", "/prices/new"]
)
@pytest.mark.parametrize("row", ROW_NUMBERS)
def test_rows_whose_number_is_none_are_passed_over(path: str, row: str, client: Pages) -> None:
    for more in ("", "section", f"limb.{row}.section", "per_board_foot"):
        names_ = (f"section.{row}.at_m", f"limb.{row}.section.{row}.wide_m", f"per_board_foot.{row}.price")
        typed = [*((name, "1") for name in names_), ("more", more)]
        answer = client.post(
            path, content=body_of(typed, ""), headers={"Content-Type": KINDS[0]}, follow_redirects=False
        )
        assert answer.status_code < 500


@pytest.mark.parametrize("rows", [1999, 3000])
def test_thousands_of_rows_are_answered(rows: int, client: Pages) -> None:
    typed = [(f"section.{k}.at_m", "x") for k in range(rows)]

    answer = client.post("/check/sheet", content=body_of(typed, ""), headers={"Content-Type": KINDS[0]})

    assert answer.status_code == (200 if rows < 2000 else 400)
