"""Checks a plan document from the log's mesh and the document alone; knows nothing of the kernels.

Faces are slices by a general-purpose library (manifold3d); widths are measured on scan-lines a few
millimetres apart; the heart strip is found by trying points. Everything else is arithmetic of the design.
"""

import itertools

import manifold3d
import numpy as np
import shapely

LINE_SPACING_M = 0.002
SQUARE_FEET_PER_M2 = 1.0 / 0.3048**2


class Audit:
    def __init__(self, log, document):
        self.log, self.document = log, document
        self.limits = document["prices"]["limits"]
        self.step_m = document["mill"]["height_step_m"]
        self.kerf_m = document["mill"]["kerf_m"]

    def body(self, solid, plan, usable=False):
        vertices = solid.vertices_m.copy()
        body = manifold3d.Manifold(manifold3d.Mesh64(vertices, solid.faces.astype(np.uint64)))
        if usable:
            low, high = self.log.outer.vertices_m[:, 0].min(), self.log.outer.vertices_m[:, 0].max()
            butt, top = self.document["log"]["end_trim_m"]
            body = body.trim_by_plane((1, 0, 0), low + butt).trim_by_plane((-1, 0, 0), -(high - top))
        return body.transform(np.array(plan["log_to_bed"])[:3])

    def face(self, body, height_m):
        shape = shapely.Polygon()
        rings = [shapely.Polygon(ring) for ring in body.slice(height_m).to_polygons() if len(ring) > 2]
        # Even-odd: a ring within a ring is a hole.
        for ring in rings:
            shape = shape.symmetric_difference(ring.buffer(0))
        return shape

    def widths(self, piece, places):
        low, high = piece.bounds[1] - 1.0, piece.bounds[3] + 1.0
        lines = shapely.linestrings([[(x, low), (x, high)] for x in places])
        return shapely.length(shapely.intersection(lines, piece))

    def runs(self, piece):
        x0, _, x1, _ = piece.bounds
        count = max(2, int((x1 - x0) / LINE_SPACING_M))
        edges = np.linspace(x0, x1, count + 1)
        middle = 0.5 * (edges[:-1] + edges[1:])
        width = self.widths(piece, middle)
        wide = np.concatenate([[False], width >= self.limits["min_width_m"], [False]])
        change = np.flatnonzero(wide[1:] != wide[:-1])
        for start, end in zip(change[::2], change[1::2], strict=True):
            if edges[end] - edges[start] >= self.limits["min_length_m"]:
                yield edges[start], edges[end], middle[start:end], width[start:end], edges[1] - edges[0]

    def heart_share(self, piece, span, lower_m, upper_m, plan):
        hearts = [np.array(line) for line in self.document["log"]["hearts"]]
        if not hearts:
            return 0.0
        matrix = np.array(plan["log_to_bed"])
        radius = self.document["log"]["heart_radius_m"]
        part = piece.intersection(shapely.box(span[0], -9, span[1], 9))
        x0, y0, x1, y1 = part.bounds
        x, y = (
            axis.ravel() for axis in np.meshgrid(np.arange(x0, x1, 0.012) + 0.006, np.arange(y0, y1, 0.004) + 0.002)
        )
        inside = shapely.contains_xy(part, x, y)
        x, y = x[inside], y[inside]
        lost = np.zeros(len(x), dtype=bool)
        for line in hearts:
            bed = line @ matrix[:3, :3].T + matrix[:3, 3]
            for a, b in itertools.pairwise(bed):
                near = (x > min(a[0], b[0]) - radius) & (x < max(a[0], b[0]) + radius) & ~lost
                if not near.any():
                    continue
                for z in np.linspace(lower_m, upper_m, 25):
                    points = np.stack([x[near], y[near], np.full(near.sum(), z)], axis=1)
                    along = np.clip((points - a) @ (b - a) / ((b - a) @ (b - a)), 0.0, 1.0)
                    close = np.linalg.norm(points - a - along[:, None] * (b - a), axis=1) <= radius
                    lost[np.flatnonzero(near)[close]] = True
        return lost.mean() if len(x) else 0.0

    def factor(self, mean_width_m):
        curve = self.document["prices"]["width_factor"]
        if not curve:
            return 1.0
        return np.interp(mean_width_m, [p["at_m"] for p in curve], [p["factor"] for p in curve])

    def price_per_board_foot(self, quarters):
        rows = self.document["prices"]["per_board_foot"]
        own = [r for r in rows if r["species"] == self.document["log"]["species"]]
        return next(r["price"] for r in own or rows if r["quarters"] == quarters)

    def slabs(self, plan):
        """Yield (layer, area_m2, board feet, price, span) of every slab that the passes give."""
        usable = self.body(self.log.wood, plan, usable=True)
        heights = [p["blade_height_m"] for p in plan["passes"]]
        quarters = {slab["layer"]: slab["quarters"] for slab in plan["slabs"]}
        pace, prices = self.document["mill"]["pace"], self.document["prices"]
        for layer, (upper_m, below_m) in enumerate(itertools.pairwise(heights), start=1):
            if layer not in quarters:
                continue
            lower_m = below_m + self.kerf_m
            outline = self.face(usable, upper_m).intersection(self.face(usable, lower_m))
            pieces = [p for p in getattr(outline, "geoms", [outline]) if p.geom_type == "Polygon" and p.area > 1e-4]
            for piece in sorted(pieces, key=lambda p: -p.centroid.y):
                for start, end, _, width, cell in self.runs(piece):
                    area = np.minimum(width, self.limits["max_width_m"] or np.inf).sum() * cell
                    feet = area * SQUARE_FEET_PER_M2 * quarters[layer] / 4.0
                    price = feet * self.price_per_board_foot(quarters[layer]) * self.factor(area / (end - start))
                    lost = self.heart_share(piece, (start, end), lower_m, upper_m, plan)
                    price *= 1.0 - prices["deduct"]["heart"] * lost
                    own = feet * prices["drying"]["cost_per_board_foot"]
                    own += pace["minutes_per_slab"] * pace["hourly_rate"] / 60.0
                    if price >= own:
                        yield layer, area, feet, price, (start, end)

    def sawing_cost(self, plan):
        wood, outer = self.body(self.log.wood, plan), self.body(self.log.outer, plan)
        pace = self.document["mill"]["pace"]
        minutes = pace["minutes_per_slab"] * len(plan["slabs"])
        for p in plan["passes"]:
            cut, across = self.face(wood, p["blade_height_m"]), self.face(outer, p["blade_height_m"])
            length = cut.bounds[2] - cut.bounds[0] if not cut.is_empty else 0.0
            feed = length / pace["feed_max_m_per_min"] if pace["feed_max_m_per_min"] else 0.0
            sawing = cut.area / pace["sawing_rate_m2_per_min"] if pace["sawing_rate_m2_per_min"] else 0.0
            minutes += max(feed, sawing) + pace["minutes_per_pass"]
            yield "reach", p["reach_m"], across.bounds[3] - across.bounds[1]
            yield "area", p["cut_area_m2"], cut.area
        yield "cost", plan["sawing_cost"], minutes * pace["hourly_rate"] / 60.0


def check_lay(log, document, plan):
    """The lay itself: rigid, lifted onto the bunks, gaps as the shims say, nothing over a limit."""
    matrix = np.array(plan["log_to_bed"])
    rotation = matrix[:3, :3]
    assert np.allclose(rotation @ rotation.T, np.eye(3), atol=1e-12)
    assert np.linalg.det(rotation) > 0
    assert matrix[0, 3] == matrix[1, 3] == 0.0
    roll, tilt = np.radians(plan["roll_deg"]), np.radians(plan["tilt_deg"])
    about_x = np.array([[1, 0, 0], [0, np.cos(roll), -np.sin(roll)], [0, np.sin(roll), np.cos(roll)]])
    about_y = np.array([[np.cos(tilt), 0, -np.sin(tilt)], [0, 1, 0], [np.sin(tilt), 0, np.cos(tilt)]])
    assert np.allclose(rotation, about_y @ about_x, atol=1e-9)
    x = log.outer.vertices_m[:, 0]
    bed = log.outer.vertices_m @ rotation.T + matrix[:3, 3]
    assert abs(bed[:, 2].min()) < 1e-9
    third = (x.max() - x.min()) / 3.0
    body = manifold3d.Manifold(manifold3d.Mesh64(log.outer.vertices_m.copy(), log.outer.faces.astype(np.uint64)))
    parts = [
        body.trim_by_plane((-1, 0, 0), -(x.min() + third)),
        body.trim_by_plane((1, 0, 0), x.max() - third),
    ]
    gaps = [part.transform(matrix[:3]).bounding_box()[2] for part in parts]
    heights = [*sorted((s["height_m"] for s in plan["shims"]), reverse=True), 0.0, 0.0]
    for found, shim in zip(sorted(gaps, reverse=True), heights, strict=False):
        assert abs(found - shim) < 1e-6
    mill = document["mill"]
    assert max(heights) <= mill["max_shim_m"] + 1e-9
    for p in plan["passes"]:
        steps = p["blade_height_m"] / mill["height_step_m"]
        assert abs(steps - round(steps)) < 1e-6
        assert p["blade_height_m"] >= mill["lowest_blade_m"] - 1e-9
        assert p["reach_m"] <= mill["throat_m"]
    if mill["throat_depth_m"]:
        assert bed[:, 2].max() - plan["passes"][0]["blade_height_m"] <= mill["throat_depth_m"] + 1e-9
    if mill["between_posts_m"]:
        assert bed[:, 1].max() - bed[:, 1].min() <= mill["between_posts_m"]


def check_plan(log, document, plan, tolerance=0.005):
    """Find the same areas, board feet, prices and costs as a plan, within 0.5 %."""
    check_lay(log, document, plan)
    audit = Audit(log, document)
    found = list(audit.slabs(plan))
    assert len(found) == len(plan["slabs"]), [(f[0], f[4]) for f in found]
    for (layer, area, feet, price, span), slab in zip(found, plan["slabs"], strict=True):
        assert layer == slab["layer"]
        assert abs(area - slab["area_m2"]) <= tolerance * slab["area_m2"]
        assert abs(feet - slab["board_feet"]) <= tolerance * slab["board_feet"]
        assert abs(price - slab["price"]) <= tolerance * slab["price"]
        assert abs(span[0] - slab["span_m"][0]) < 0.01
        assert abs(span[1] - slab["span_m"][1]) < 0.01
    for what, said, measured in audit.sawing_cost(plan):
        assert abs(said - measured) <= tolerance * max(measured, 1e-9), what
    gross = sum(f[3] for f in found)
    drying = sum(f[2] for f in found) * document["prices"]["drying"]["cost_per_board_foot"]
    net = gross - plan["sawing_cost"] - drying
    assert abs(net - plan["net"]) <= tolerance * gross
