"""Bark as measured with an axe cut, in place of the wood's usual bark."""

import numpy as np
import pytest
import trimesh

from service.typed.errors import InputError
from service.typed.files import FileRead
from service.typed.log_reading import AboutLog, LogRead, read_log
from service.typed.read_given import read_given

SHEET = """
species = "sugar maple"
{more}
[[section]]
at = "0 in"
wide = "24 in"
[[section]]
at = "5 ft"
wide = "16 in"
[[section]]
at = "10 ft"
wide = "12 in"
"""


def read_sheet(more: str = "", **about: str) -> LogRead:
    return read_log(FileRead("log.toml", SHEET.format(more=more).encode(), "0" * 64), read_given(AboutLog, **about))


def read_mesh(**about: str) -> LogRead:
    body = trimesh.creation.cylinder(0.3, 3.0, sections=96)
    body.apply_transform(trimesh.transformations.rotation_matrix(np.pi / 2.0, (0.0, 1.0, 0.0)))
    return read_log(FileRead("log.ply", body.export(file_type="ply"), "0" * 64), AboutLog(unit="m", up="z", **about))


@pytest.mark.parametrize(
    ("more", "about", "thick_m"),
    [
        ('bark_thickness = "5/8 in"', {}, 0.015875),
        ("bark_thickness_m = 0.03", {}, 0.03),
        ("", {"bark_thickness": "1 in"}, 0.0254),
        ('bark_thickness = "5/8 in"', {"bark_thickness": "1 in"}, 0.0254),
    ],
)
def test_the_bark_of_a_sheet_is_as_thick_as_measured(more: str, about: dict[str, str], thick_m: float) -> None:
    read = read_sheet(more, **about)

    assert read.log.bark_thickness_m == pytest.approx(thick_m, rel=1e-6)
    assert read.log.wood.volume_m3 == pytest.approx(read.bark_ratio**2 * read.log.outer.volume_m3, rel=1e-6)
    assert "measured" in read.bark_from
    assert "measured" not in read_sheet().bark_from


def test_the_bark_of_a_mesh_is_as_thick_as_measured() -> None:
    read = read_mesh(bark_thickness="1 in")

    assert read.bark_ratio == pytest.approx(1.0 - 0.0254 / 0.3, abs=2e-3)
    assert read.log.bark_thickness_m == pytest.approx(0.0254, rel=0.02)
    assert read.log.wood.volume_m3 == pytest.approx(np.pi * (0.3 - 0.0254) ** 2 * 3.0, rel=0.02)
    assert "measured" in read.bark_from


def test_a_log_without_bark_has_none_though_its_sheet_tells_its_thickness() -> None:
    read = read_sheet('bark_thickness = "5/8 in"', bark="off")

    assert read.log.wood is read.log.outer


@pytest.mark.parametrize(
    ("more", "about", "said"),
    [
        ('bark_thickness = "5"', {}, "bark_thickness"),
        ('bark_thickness = "0 in"', {}, "bark_thickness"),
        ('bark_thickness = "1 in"\nbark = "off"', {}, "bark_thickness"),
        ('bark_thickness = "5 in"', {}, "too much"),
        ("", {"bark_thickness": "-1 in"}, "{:bark_thickness}"),
        ("", {"bark_thickness": "1"}, "{:bark_thickness}"),
        ("", {"bark_thickness": "7 in"}, "{:bark_thickness}"),
        ("", {"bark_thickness": "1 in", "bark": "off"}, "{:bark_thickness}"),
    ],
)
def test_a_thickness_that_cannot_be_is_refused_in_one_line(more: str, about: dict[str, str], said: str) -> None:
    with pytest.raises(InputError) as caught:
        read_sheet(more, **about)

    assert said in str(caught.value)
    assert "\n" not in str(caught.value)
