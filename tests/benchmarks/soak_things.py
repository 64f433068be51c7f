"""What the soak's clients send: small logs, mills and price books, and files that are broken. All of it is invented."""

import tomllib

import numpy as np
import trimesh

SHEET = """
name = "{name}"
species = "white ash"
length = "5 ft"
bark = "off"
end_trim = "1 in"
cost = {cost}
section = [{{at = "0 in", wide = "{inches} in"}}, {{at = "5 ft", wide = "15 in"}}]
"""
SHEET_MARK = '\n[[mark]]\nkind = "knot"\nat = "2 ft"\ntoward_deg = 40\nradius = "1 in"\ndepth = "3 in"\n'
SHEET_MARK_DEPTH_M = 0.0762
MILL = 'name = "{name}"\nthroat = "{inches} in"\nkerf = "1/8 in"\nheight_step = "1/8 in"\n'
PRICES = """
name = "{name}"
per_board_foot = [
  {{species = "any", quarters = 8, price = {price}}},
  {{species = "any", quarters = 12, price = 5.5}},
]
limits = {{min_width = "8 in", min_length = "4 ft"}}
"""
WAY_HEIGHTS = "12, 9 1/2, 7"
QUICK = {"lays": 12, "doubt": "off"}
LONGER = {"lays": 300, "doubt": "off"}


def sheet(name: str, cost: int, inches: int = 16, *, marked: bool = False) -> str:
    """Return a log sheet as TOML."""
    return SHEET.format(name=name, cost=cost, inches=inches) + SHEET_MARK * marked


def mill(name: str, inches: int) -> dict:
    """Return a mill that takes all logs of this module."""
    return tomllib.loads(MILL.format(name=name, inches=inches))


def prices(name: str, price: float) -> dict:
    """Return a price book."""
    return tomllib.loads(PRICES.format(name=name, price=price))


def _mesh(radius_m: float) -> trimesh.Trimesh:
    mesh = trimesh.creation.cylinder(radius=radius_m, height=1.5, sections=32)
    return mesh.apply_transform(trimesh.transformations.rotation_matrix(np.pi / 2, (0, 1, 0)))


def mesh_file(radius_m: float, suffix: str) -> bytes:
    """Return a closed cylinder that lies along x, in metres."""
    data = _mesh(radius_m).export(file_type=suffix)
    return data if isinstance(data, bytes) else data.encode()


def cloud_file(radius_m: float, seed: int) -> bytes:
    """Return points of a lying cylinder's surface as rows of x y z, in metres."""
    points, _ = trimesh.sample.sample_surface(_mesh(radius_m), 6_000, seed=seed)
    return "\n".join(f"{x:.4f} {y:.4f} {z:.4f}" for x, y, z in points).encode()


def broken_files() -> dict[str, tuple[bytes, set[int]]]:
    """Return files that cannot become a log, by name, with the statuses that their upload may get.

    A sheet is refused at once, or by the job that reads it where the form names the log.
    """
    stl = mesh_file(0.2, "stl")
    return {
        "cut_off.stl": (stl[: len(stl) // 2], {202}),
        "words.ply": (b"this was never a mesh\n", {202}),
        "no_numbers.xyz": (b"a b c\nd e f\n", {202}),
        "open.toml": (b'name = "never closed\n', {202, 422}),
        "no_section.toml": (b'name = "a log"\nlength = "5 ft"\nsection = []\n', {202, 422}),
        "empty.stl": (b"", {422}),
    }
