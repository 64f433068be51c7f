"""The log in the round, in a real browser: what is drawn, and what fingers, mouse and keys do to it."""

import io
from collections.abc import Iterator
from dataclasses import replace
from math import cos, hypot, sin

import numpy as np
import pytest
import shapes
from PIL import Image
from playwright.sync_api import Browser, Locator, Page
from sawn_plan import MILL, plan_of
from small_site import SmallSite, small_site

from optimizer.documents.plan import Mark
from scans.log import Log, SurfaceColours
from service.drawings.solid_buffer import plan_buffer, solid_buffer

RADIUS_M, LENGTH_M = 0.3, 3.0
HOME_TURN, HOME_RISE = -0.45, 0.42
PAGE = """<!doctype html><html lang="en"><head><title>Log</title><link rel="stylesheet" href="/own.css">
<script type="module" src="/static/solid.js"></script><script type="module" src="/told.js"></script></head><body><main>
<figure class="solid" data-solid="{solid}" {more}><canvas hidden></canvas><div class="fallback">A drawing</div>
<label>Apart <input type="range" min="0" max="100" value="0" data-apart></label>
<div data-shows hidden><button value="seen">Seen</button><button value="colours">Colours</button></div>
<p><span data-drawn="bark">bark</span>{entries}</p></figure></main></body></html>"""
ENTRIES = (
    "surface", "seen", "guessed", "colours", "colourless", "slab", "edge", "waste", "picked", "heart", "metal", "flaw",
    "tapped",
)  # fmt: skip
STYLE = """figure { margin: 0; width: 400px; --solid-seen: #00f; --solid-guessed: #f00; --solid-background: #fff;
--solid-heart: #0f0; --solid-slab: #ff0; --solid-waste: #888; --solid-picked: #f0f }"""
TOLD = """window.told = []; for (const name of ["marked", "picked"])
document.addEventListener(name, (event) => window.told.push([name, event.detail]));"""


def page_of(solid: str, more: str = "") -> str:
    entries = "".join(f'<span data-drawn="{kind}" hidden> {kind}</span>' for kind in ENTRIES)
    return PAGE.format(solid=solid, more=more, entries=entries)


def in_two_colours() -> Log:
    """A cylinder, magenta as far as its middle and green from there on; of its lower half no colour is told."""
    line = [(x_m, 0.0, 0.0) for x_m in np.linspace(0.0, LENGTH_M, 31)]
    log = shapes.log_of(shapes.tube(line, RADIUS_M, RADIUS_M, 96), [line])
    places_m = log.outer.vertices_m
    rgb = np.where(places_m[:, :1] < LENGTH_M / 2, [[255, 0, 255]], [[0, 255, 0]]).astype(np.uint8)
    return replace(log, colours=SurfaceColours(rgb, places_m[:, 2] > 0.0))


@pytest.fixture(scope="module")
def site() -> Iterator[SmallSite]:
    """A cylinder of which the upper half was seen, and a plan of it."""
    log = shapes.cylinder(RADIUS_M, LENGTH_M, points=96)
    middles = log.outer.vertices_m[log.outer.faces].mean(axis=1)
    log = replace(log, face_seen=middles[:, 2] > 0.0)
    plan = plan_of(log, [300, 260, 220, 180], roll_deg=0.0)
    with small_site() as site:
        plain = replace(log, face_seen=None, hearts=())
        nail = Mark(id="metal 1", kind="metal", x_m=1.0, y_m=0.0, z_m=RADIUS_M, radius_m=0.02, depth_m=0.1)
        site.served |= {
            "/own.css": STYLE,
            "/told.js": TOLD,
            "/log.bin": solid_buffer(log),
            "/slabs.bin": plan_buffer(log, plan, MILL.kerf_m),
            "/plain.bin": solid_buffer(plain),
            "/nailed.bin": solid_buffer(plain, [nail]),
            "/coloured.bin": solid_buffer(in_two_colours()),
            "/log": page_of("/log.bin"),
            "/plain": page_of("/plain.bin"),
            "/nailed": page_of("/nailed.bin"),
            "/coloured": page_of("/coloured.bin"),
            "/marking": page_of("/log.bin", "data-marking"),
            "/plan": page_of("/log.bin", 'data-slabs="/slabs.bin"'),
        }
        yield site


@pytest.fixture
def page(browser: Browser, site: SmallSite) -> Iterator[Page]:
    context = browser.new_context(base_url=site.address, viewport={"width": 480, "height": 700})
    context.set_default_timeout(60_000)
    page = context.new_page()
    errors: list[str] = []
    page.on("pageerror", lambda error: errors.append(str(error)))
    yield page
    context.close()
    assert errors == []


def mounted(page: Page, path: str) -> Locator:
    page.goto(path)
    page.locator("figure.is-mounted").wait_for()
    canvas = page.locator("canvas")
    drawn(page)
    return canvas


def drawn(page: Page) -> None:
    """Wait until what is due is drawn."""
    page.evaluate("() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")


def picture(canvas: Locator) -> np.ndarray:
    drawn(canvas.page)
    return np.asarray(Image.open(io.BytesIO(canvas.screenshot())).convert("RGB")).astype(int)


def where(pixels: np.ndarray, *, red: bool = False, blue: bool = False) -> np.ndarray:
    """Tell where a picture is of one of the two tones, whatever the light."""
    return (pixels[..., 1] < 60) & ((pixels[..., 0] > 90) == red) & ((pixels[..., 2] > 90) == blue)


def not_blank(pixels: np.ndarray) -> np.ndarray:
    return (pixels < 245).any(axis=2)


def tap(canvas: Locator, x: float, y: float) -> None:
    canvas.click(position={"x": x, "y": y})
    canvas.page.wait_for_timeout(400)  # else the next would make it a double tap


def test_the_log_fills_its_picture_in_two_tones(page):
    pixels = picture(mounted(page, "/log"))

    log = not_blank(pixels)
    columns = np.flatnonzero(log.any(axis=0))
    assert columns[0] > 0
    assert columns[-1] < pixels.shape[1] - 1
    assert columns[-1] - columns[0] > 0.75 * pixels.shape[1]
    seen, guessed = where(pixels, blue=True), where(pixels, red=True)
    assert seen.sum() > 0.3 * log.sum()
    assert guessed.sum() > 0.03 * log.sum()
    # Above lies what was seen; the hatch over what was not is of the other tone.
    lower_half = np.arange(pixels.shape[0])[:, None] > np.argwhere(guessed)[:, 0].min()
    assert np.argwhere(seen)[:, 0].mean() < np.argwhere(guessed)[:, 0].mean()
    assert (seen & lower_half).sum() > 0.1 * guessed.sum()
    assert not page.locator(".fallback").is_visible()


def named(page: Page) -> set[str]:
    """Return what the legend names."""
    drawn(page)
    return {entry.get_attribute("data-drawn") or "" for entry in page.locator("[data-drawn]:visible").all()}


def test_the_legend_names_all_that_is_drawn_and_nothing_else(page):
    mounted(page, "/log")
    assert named(page) == {"seen", "guessed", "heart"}
    mounted(page, "/plain")
    assert named(page) == {"surface"}
    mounted(page, "/nailed")
    assert named(page) == {"surface", "metal"}
    canvas = mounted(page, "/plan")
    assert named(page) == {"seen", "guessed", "heart"}
    page.locator("[data-apart]").fill("100")
    assert named(page) == {"slab", "waste", "edge"}
    canvas.evaluate("(canvas) => canvas.closest('figure').dispatchEvent(new CustomEvent('pick', {detail: {id: '2'}}))")
    assert named(page) == {"slab", "waste", "edge", "picked"}
    canvas = mounted(page, "/marking")
    canvas.click()
    assert named(page) == {"seen", "guessed", "heart", "tapped"}


def test_a_scans_colours_are_drawn_where_it_told_them(page):
    canvas = mounted(page, "/coloured")
    before = picture(canvas)
    assert named(page) == {"surface", "heart"}

    page.get_by_role("button", name="Colours").click()
    assert named(page) == {"colours", "colourless", "heart"}
    pixels = picture(canvas)

    red, green, blue = (pixels[..., k] for k in range(3))
    magenta = (green < 40) & (red > 90) & (abs(red - blue) < 20)
    other = (red < 40) & (blue < 40) & (green > 90)
    grey = (abs(red - green) < 12) & (abs(green - blue) < 12) & (red < 235)
    assert min(magenta.sum(), other.sum()) > 0.05 * not_blank(pixels).sum()
    assert grey.sum() > 0.05 * not_blank(pixels).sum()
    # The butt, at the left, is magenta; below lies what has no colour.
    assert np.argwhere(magenta)[:, 1].mean() < np.argwhere(other)[:, 1].mean()
    assert np.argwhere(grey)[:, 0].mean() > np.argwhere(magenta | other)[:, 0].mean()
    page.get_by_role("button", name="Seen").click()
    assert (picture(canvas) == before).all()


def test_a_log_without_colours_offers_none(page):
    mounted(page, "/log")

    assert not page.get_by_role("button", name="Colours").is_visible()


def test_a_drag_turns_and_a_double_tap_resets(page):
    canvas = mounted(page, "/log")
    before = picture(canvas)

    box = canvas.bounding_box()
    page.mouse.move(box["x"] + 100, box["y"] + 150)
    page.mouse.down()
    page.mouse.move(box["x"] + 240, box["y"] + 170, steps=3)
    page.mouse.up()
    turned = picture(canvas)

    assert (turned != before).any(axis=2).mean() > 0.05
    canvas.dblclick()
    assert (picture(canvas) == before).all()


def test_keys_turn_zoom_and_reset(page):
    canvas = mounted(page, "/log")
    canvas.focus()
    before = picture(canvas)

    assert "arrow keys" in canvas.get_attribute("aria-label")
    page.keyboard.press("ArrowRight")
    assert (picture(canvas) != before).any(axis=2).mean() > 0.02
    page.keyboard.press("0")
    assert (picture(canvas) == before).all()
    page.keyboard.press("-")
    smaller = not_blank(picture(canvas)).sum()
    assert smaller < 0.85 * not_blank(before).sum()
    page.mouse.move(200, 150)
    page.mouse.wheel(0, -300)
    assert not_blank(picture(canvas)).sum() > 1.2 * smaller


def test_the_wheel_scrolls_the_page_while_the_log_has_no_focus(page):
    canvas = mounted(page, "/log")
    before = picture(canvas)

    page.mouse.move(200, 150)
    page.mouse.wheel(0, -300)

    assert (picture(canvas) == before).all()
    assert canvas.evaluate("(canvas) => getComputedStyle(canvas).touchAction") == "pan-y"


def test_a_tap_marks_the_place_under_it(page):
    canvas = mounted(page, "/marking")
    box = canvas.bounding_box()

    tap(canvas, box["width"] / 2, box["height"] / 2)
    tap(canvas, 3, 3)  # beside the log

    # In the middle of the picture is the middle of the log: the ray from the eye to it meets the surface before.
    way = (cos(HOME_RISE) * sin(HOME_TURN), -cos(HOME_RISE) * cos(HOME_TURN), sin(HOME_RISE))
    far = RADIUS_M / hypot(way[1], way[2])
    ((name, place),) = page.evaluate("window.told")
    assert name == "marked"
    expected = (LENGTH_M / 2 + far * way[0], far * way[1], far * way[2])
    assert [place["x_m"], place["y_m"], place["z_m"]] == pytest.approx(expected, abs=0.01)
    assert page.locator(".solid-label").inner_text() == "×"
    canvas.press("Enter")
    assert page.evaluate("window.told")[1] == [name, place]


def test_a_tap_a_little_beside_the_log_marks_its_edge(page):
    canvas = mounted(page, "/marking")
    log = np.argwhere(not_blank(picture(canvas)))
    column = canvas.bounding_box()["width"] / 2
    top = float(log[abs(log[:, 1] - column) < 2][:, 0].min())

    tap(canvas, column, top - 45)  # farther off than a finger is thick
    assert page.evaluate("window.told") == []
    tap(canvas, column, top - 14)

    ((name, place),) = page.evaluate("window.told")
    assert name == "marked"
    assert hypot(place["y_m"], place["z_m"]) == pytest.approx(RADIUS_M, abs=0.01)
    assert place["z_m"] > 0.0


def test_a_log_that_is_not_to_be_marked_tells_nothing(page):
    canvas = mounted(page, "/log")

    canvas.click()

    assert page.evaluate("window.told") == []


def test_the_slider_draws_slabs_apart_and_a_tap_picks_one(page):
    canvas = mounted(page, "/plan")
    labels = page.locator(".solid-label")
    together = not_blank(picture(canvas)).any(axis=1).sum()
    assert labels.count() == 3
    assert not any(label.is_visible() for label in labels.all())

    page.locator("[data-apart]").fill("100")
    pixels = picture(canvas)

    assert (pixels[..., 2] < 60).sum() > 1000  # the slabs' own yellow
    assert not_blank(pixels).any(axis=1).sum() > 1.1 * together
    heights = [label.bounding_box()["y"] for label in labels.all()]
    assert heights == sorted(heights)
    assert [label.inner_text() for label in labels.all()] == ["1", "2", "3"]
    edge, canvas_edge = labels.nth(1).bounding_box(), canvas.bounding_box()
    tap(canvas, edge["x"] + edge["width"] - canvas_edge["x"] + 25, edge["y"] + edge["height"] / 2 - canvas_edge["y"])
    ((name, detail),) = page.evaluate("window.told")
    assert (name, detail) == ("picked", {"id": "2"})
    picked = picture(canvas)
    assert ((picked[..., 0] > 120) & (picked[..., 1] < 40) & (picked[..., 2] > 120)).sum() > 300


def test_a_solid_that_does_not_load_says_so_and_can_be_tried_again(page, site):
    site.broken.add("/log.bin")
    page.goto("/log")
    line = page.get_by_role("status")
    line.wait_for()
    assert "did not load" in line.inner_text()
    assert page.locator(".fallback").is_visible()

    site.broken.clear()
    page.get_by_role("button", name="Try again").click()

    page.locator("figure.is-mounted").wait_for()
    assert line.count() == 0


def test_a_file_that_is_no_solid_is_told_as_one_that_did_not_load(page, site):
    log = site.served["/log.bin"]
    site.served["/log.bin"] = "<!doctype html>"
    try:
        page.goto("/log")
        page.get_by_role("status").wait_for()
    finally:
        site.served["/log.bin"] = log


def test_without_webgl_the_drawing_stays(page):
    page.add_init_script(
        "const usual = HTMLCanvasElement.prototype.getContext; HTMLCanvasElement.prototype.getContext ="
        " function (kind, ...more) { return kind === 'webgl2' ? null : usual.call(this, kind, ...more); };"
    )
    with page.expect_console_message(lambda message: "WebGL2 is missing" in message.text):
        page.goto("/log")

    assert page.locator(".fallback").is_visible()
    assert not page.locator("canvas").is_visible()


def test_a_lost_context_is_drawn_anew(page):
    canvas = mounted(page, "/log")
    before = picture(canvas)

    canvas.evaluate("""async (canvas) => {
        const lost = canvas.getContext("webgl2").getExtension("WEBGL_lose_context");
        const happens = (name) => new Promise((done) => canvas.addEventListener(name, done, { once: true }));
        let event = happens("webglcontextlost");
        lost.loseContext();
        await event;
        event = happens("webglcontextrestored");
        setTimeout(() => lost.restoreContext(), 50);
        await event;
    }""")

    assert (picture(canvas) == before).all()
