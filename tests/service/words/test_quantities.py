"""Whatever somebody reads is in the units that they chose: in, ft and lb, or metric; never both, never the other."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from plan_documents import FORK, a_log, a_mill, a_pass, a_plan, a_shim, a_slab

from optimizer.documents.plan import Caution, Holding, Mark, Offcut, Overturning
from optimizer.report import cautions
from optimizer.report.cautions import cautions_for
from scans import messages
from service.contract.documents import ErrorShown
from service.words.quantities import in_si, in_units
from service.words.units import Units

ROOT = Path(__file__).parents[3]
IMPERIAL, METRIC = Units.IMPERIAL, Units.METRIC
FOREIGN = {
    IMPERIAL: re.compile(r"\d ?(?:m|cm|mm|dm|m2|m3|kg)\b|metre|kilogram"),
    METRIC: re.compile(r"\d ?(?:in|ft|ft3|lb)\b|\binch|\bfeet\b|\bfoot\b|pound"),
}
"""What a reader of these units must not meet."""


@pytest.mark.parametrize(
    ("text", "imperial", "metric"),
    [
        (messages.long_length(2.9464), "9 ft 8 in", "2.95 m"),
        (messages.long_length(0.25), "10 in", "0.25 m"),
        (messages.width(0.5334), "21 in", "533 mm"),
        (messages.width(0.5398), "21 1/2 in", "540 mm"),
        (messages.short_length(0.0889), "3 1/2 in", "89 mm"),
        (messages.exact_length(24.625 * 0.0254), "24 5/8 in", "625.5 mm"),
        (messages.exact_length(24.6 * 0.0254), "24 19/32 in", "624.8 mm"),
        (messages.exact_length(-0.0127), "-1/2 in", "-12.7 mm"),
        (messages.mass(1077.3), "2,375 lb", "1,077 kg"),
        (messages.long_length(-1e-9), "0 in", "0.00 m"),
        (messages.long_length(-0.004), "0 in", "0.00 m"),
        (messages.short_length(-0.0001), "0 in", "0 mm"),
        (messages.width(-0.0001), "0 in", "0 mm"),
        (messages.exact_length(-0.00001), "0 in", "0 mm"),
        (messages.mass(-0.1), "0 lb", "0 kg"),
        (messages.long_length(float("nan")), "no number", "no number"),
        (messages.mass(float("inf")), "no limit", "no limit"),
        ("a {thing} of {0 m}", "a {thing} of 0 in", "a {thing} of 0.00 m"),
    ],
)
def test_a_quantity_is_written_in_the_readers_units(text: str, imperial: str, metric: str) -> None:
    assert in_units(text, IMPERIAL) == imperial
    assert in_units(text, METRIC) == metric


def test_programs_read_si() -> None:
    text = f"{messages.long_length(2.95)}, {messages.mass(80.0)}"

    assert text == "{2.95 m}, {80 kg}"
    assert in_si(text) == "2.95 m, 80 kg"


def test_an_error_is_kept_for_pages_and_sent_to_programs_in_si() -> None:
    shown = ErrorShown(status=409, message="the log has {1077.3 kg}", what_to_do="")

    assert shown.model_dump()["message"] == "the log has {1077.3 kg}"
    assert '"the log has 1077.3 kg"' in shown.model_dump_json()


def test_a_hair_under_nothing_is_nothing():
    for name in ("long_length", "short_length"):
        for length_m in (0.0, -1e-9):
            assert "-0" not in getattr(messages, name)(length_m)


METAL = Mark(id="metal 1", kind="metal", x_m=1.2, y_m=0.0, z_m=0.6, radius_m=0.02, depth_m=0.1)
ROT = Mark(id="rot 1", kind="rot", x_m=1.0, y_m=0.0, z_m=0.3, radius_m=0.02, depth_m=0.1)
HEART = (((0.0, 0.0, 0.0), (2.9, 0.0, 0.0)),)


def every_caution() -> Iterator[Caution]:
    """Cautions of cases that set off each rule, once for each reason that it has."""
    falls = Overturning(
        flipped=False, blade_height_m=None, outside_m=0.05, toward=(0.0, 1.0), moment_n_m=400.0,
        holding=Holding(x_m=2.0, y_m=0.3, height_m=0.4),
    )  # fmt: skip
    turned = {
        "roll_deg": 10.0, "tilt_deg": 1.2, "rests_by_itself": False, "supports": (a_shim(0.1, 0.0889),),
        "overturning": falls,
    }  # fmt: skip
    heavy = a_slab(mass_kg=90.0, span_m=(0.0, 2.5), figure_area_m2=0.1)
    offcut = Offcut(where="first", volume_m3=0.1, mass_kg=95.0)
    flipped = (a_pass(1, 0.64), a_pass(2, 0.4).model_copy(update={"flipped": True}))
    plan = a_plan(**turned, slabs=(heavy,), offcuts=(offcut,), passes=flipped)
    forked = a_log(mass_kg=900.0, bark=True, forks=(FORK,), marks=(METAL, ROT), hearts=HEART)
    for most_kg in (800.0, 1000.0):
        for keep_out_m in (0.0, 0.05):
            for wood in ("walnut, black", "ash, white"):
                mill = a_mill(
                    throat="33 in", max_log_mass_kg=most_kg, loader_limit_kg=60.0, metal_keep_out_m=keep_out_m
                )
                yield from cautions_for(forked, mill, [plan], wood)
    for clamps_hold in (False, True):
        mill = a_mill(clamps_hold=clamps_hold, slabs_stay_on=True)
        yield from cautions_for(a_log(), mill, [a_plan(stands_by_m=-0.0889)], "unknown")
    for stretch_m in ((0.0, 1.2), (0.0, 1.25)):
        cut = a_plan(stretch_m=stretch_m)
        yield from cautions_for(a_log(marks=(METAL,), hearts=HEART), a_mill(metal_keep_out_m=0.05), [cut], "unknown")


def test_every_caution_is_in_the_readers_units_alone() -> None:
    found = list(every_caution())

    assert {caution.id for caution in found} == {rule.id for rule in cautions._RULES}
    assert sum("{" in caution.reason for caution in found) > 10
    for caution in found:
        for units, foreign in FOREIGN.items():
            said = in_units(f"{caution.line} {caution.reason}", units)
            assert not foreign.search(said), said
            assert "{" not in said


WRITERS = {
    # These write lengths and masses for a reader, in the units asked for.
    "scans/units.py", "service/words/measures.py", "service/words/quantities.py", "service/words/tables.py",
    "service/pages/fields.py",
    # These tell programs and developers what a field is in.
    "scans/messages.py", "service/web/api_examples.py",
    # A file's unit is what it is; a quarter is a quarter of an inch everywhere.
    "scans/formats/read_las.py", "scans/locate/placing.py", "scans/formats/usd_stage.py", "service/pages/words.py",
}  # fmt: skip
VALUE = "\x00"
UNIT_SAID = re.compile(
    rf"(?:{VALUE}|\d) ?(?:mm|cm|m3|m2|m|kg|lb|ft3|ft|inch|inches|feet|metres|pounds)\b"
    rf"|\d ?in\b(?! )|{VALUE} in(?=[,;:.)\"]|$)"
)
"""A value in a text with its unit behind it."""
EXAMPLE = re.compile(r"such as|write it as|\[m|= \"|for want of|1/4-inch")


def told(path: Path) -> Iterator[tuple[int, str]]:
    """Texts of a module that somebody may read, values in f-strings as one sign; docstrings and the like left out."""
    tree = ast.parse(path.read_text())
    passed_over: set[int] = set()
    for node in ast.walk(tree):
        is_docstring = isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
        is_described = (
            isinstance(node, ast.Call) and getattr(node.func, "attr", getattr(node.func, "id", "")) in DESCRIBE
        )
        if is_docstring or is_described:
            passed_over |= {id(part) for part in ast.walk(node)}
        if isinstance(node, ast.JoinedStr):
            passed_over |= {id(part) for part in node.values}
    for node in ast.walk(tree):
        if id(node) in passed_over:
            continue
        if isinstance(node, ast.JoinedStr):
            parts = [part.value if isinstance(part, ast.Constant) else VALUE for part in node.values]
            yield node.lineno, "".join(map(str, parts))
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            yield node.lineno, node.value


DESCRIBE = {"Field", "Query", "Option", "Argument", "Body"}
"""Calls that say what may be given: examples and bounds of a document."""


@pytest.mark.parametrize("room", ["scans", "optimizer", "service"])
def test_no_note_caution_or_refusal_names_a_unit_itself(room: str) -> None:
    modules = [path for path in (ROOT / room).rglob("*.py") if str(path.relative_to(ROOT)) not in WRITERS]
    named = [
        f"{path.relative_to(ROOT)}:{line}: {text}"
        for path in modules
        for line, text in told(path)
        if UNIT_SAID.search(text) and not EXAMPLE.search(text)
    ]

    assert len(modules) > 20
    assert named == []


def test_what_no_scan_saw_is_guessed_in_every_text() -> None:
    """One word for one idea: not reckoned in one place and guessed in another."""
    modules = {path: told(path) for room in ("scans", "optimizer", "service") for path in (ROOT / room).rglob("*.py")}
    texts = [(path, text) for path, texts in modules.items() for _, text in texts]
    pages = [*(ROOT / "service" / "pages" / "templates").iterdir(), ROOT / "README.md"]
    texts += [(path, path.read_text()) for path in pages]

    assert any("guessed" in text for _, text in texts)
    assert [path for path, text in texts if "reckon" in text] == []


def test_the_walk_sees_a_unit_in_a_text(tmp_path: Path) -> None:
    module = tmp_path / "module.py"
    module.write_text('"""A log of 3 m."""\n\ndef note(x):\n    return f"bark of {1000.0 * x:.0f} mm is off"\n')

    assert [line for line, text in told(module) if UNIT_SAID.search(text)] == [4]
