"""A real stem that divides, as part of a cloud of standing trees: its source and licence are in its data sheet."""

from scipy.spatial import cKDTree

from scans.fit.scanned_log import log_from_points
from scans.formats.readers import read_scan
from scans.locate.ground import find_log
from scans.locate.scan_surface import points_on_faces
from scans.solids.colours import coloured


def test_a_real_fork_of_two_is_followed_and_keeps_its_colours(data_folder):
    scan = read_scan((data_folder / "gpl3" / "carnutes_fork_two.ply").read_bytes(), ".ply")
    found = find_log(scan.points)
    log, _ = log_from_points(scan.points[found.mask], found.outline, "fork", 1.0)
    there = scan.points @ log.scan_to_log[:3, :3].T + log.scan_to_log[:3, 3]
    surface = cKDTree(points_on_faces(log.outer.vertices_m, log.outer.faces, 200_000))

    assert (surface.query(there)[0] < 0.015).mean() >= 0.95
    assert len(log.hearts) == 3
    assert coloured(log, scan.points[found.mask], scan.colours[found.mask]).colours.known.mean() > 0.3
