"""One lay priced the slow, general way: every face sliced from the mesh, every layer met by polygons.

Slices by manifold3d, meetings and widths by shapely, arithmetic and dynamic programming in plain Python; no
kernels, no stations, no margins.
"""

import manifold3d
import numpy as np
import shapely

LINE_SPACING_M = 0.01
SQUARE_FEET_PER_M2 = 1.0 / 0.3048**2


class GeneralLay:
    def __init__(self, problem, lay, height_m):
        self.problem, self.lay, self.height_m = problem, lay, height_m
        self.step_m, self.kerf_m = problem.mill.height_step_m, problem.mill.kerf_m
        log, matrix = problem.log, lay.log_to_bed[:3]
        low, high = log.outer.bounds_m[:, 0]
        self.outer, self.wood = (self._body(s).transform(matrix) for s in (log.outer, log.wood))
        usable = self._body(log.wood).trim_by_plane((1, 0, 0), low + problem.end_trim_m[0])
        self.usable = usable.trim_by_plane((-1, 0, 0), -(high - problem.end_trim_m[1])).transform(matrix)
        self.lines_at = [line @ matrix[:, :3].T + matrix[:, 3] for line in log.hearts]
        self.faces = {}

    @staticmethod
    def _body(solid):
        return manifold3d.Manifold(manifold3d.Mesh64(solid.vertices_m.copy(), solid.faces.astype(np.uint64)))

    def face(self, height_m):
        key = round(height_m, 9)
        if key not in self.faces:
            rings = [shapely.Polygon(r) for r in self.usable.slice(height_m).to_polygons() if len(r) > 2]
            shape = shapely.Polygon()
            for ring in rings:
                shape = shape.symmetric_difference(ring.buffer(0))
            self.faces[key] = shape
        return self.faces[key]

    def pass_cost(self, height_m):
        """Cost of a pass; None where the mill cannot make it."""
        mill, pace = self.problem.mill, self.problem.mill.pace
        across = self.outer.slice(height_m)
        if across.is_empty():
            return None
        bounds = across.bounds()
        if bounds[3] - bounds[1] > mill.throat_m:
            return None
        cut = self.wood.slice(height_m)
        length = 0.0 if cut.is_empty() else cut.bounds()[2] - cut.bounds()[0]
        feed = length / pace.feed_max_m_per_min if pace.feed_max_m_per_min else 0.0
        sawing = cut.area() / pace.sawing_rate_m2_per_min if pace.sawing_rate_m2_per_min else 0.0
        return (max(feed, sawing) + pace.minutes_per_pass) * pace.hourly_rate / 60.0

    def layer(self, entry, upper_m, lower_m):
        """Value of a layer's slabs after their drying and handling."""
        upper, lower = self.face(upper_m), self.face(lower_m)
        limits, prices = self.problem.prices.limits, self.problem.prices
        for shape in (upper, lower):
            if shape.is_empty or shape.bounds[2] - shape.bounds[0] < limits.min_length_m:
                return 0.0
        outline = upper.intersection(lower)
        own = self.problem.mill.pace.minutes_per_slab * self.problem.mill.pace.hourly_rate / 60.0
        total = 0.0
        for piece in getattr(outline, "geoms", [outline]):
            x0, _, x1, _ = piece.bounds if not piece.is_empty else (0, 0, 0, 0)
            if piece.geom_type != "Polygon" or x1 - x0 < limits.min_length_m:
                continue
            count = int((x1 - x0) / LINE_SPACING_M) + 1
            x = x0 + (x1 - x0) * (np.arange(count) + 0.5) / count
            cell = (x1 - x0) / count
            lines = shapely.linestrings([[(v, -9.0), (v, 9.0)] for v in x])
            width = shapely.length(shapely.intersection(lines, piece))
            wide = np.concatenate([[False], width >= limits.min_width_m, [False]])
            change = np.flatnonzero(wide[1:] != wide[:-1])
            for start, end in zip(change[::2], change[1::2], strict=True):
                length = (end - start) * cell
                if length < limits.min_length_m:
                    continue
                area = np.minimum(width[start:end], limits.max_width_m or np.inf).sum() * cell
                feet = area * SQUARE_FEET_PER_M2 * entry.quarters / 4.0
                price = feet * entry.price_per_board_foot * prices.width_factor_at(area / length)
                if self.problem.log.hearts and prices.deduct.heart:
                    price *= 1.0 - prices.deduct.heart * self._heart_share(
                        piece, x[start:end], width[start:end], lower_m, upper_m
                    )
                total += max(0.0, price - feet * entry.drying_per_board_foot - own)
        return total

    def _heart_share(self, piece, x, width, lower_m, upper_m):
        # The heart lines are nearly level here: take the strip's section square to the bed's x.
        radius, lost = self.problem.log.heart_radius_m, 0.0
        for at in x:
            spans = []
            for line in self.lines_at:
                if not line[0, 0] <= at <= line[-1, 0]:
                    continue
                y, z = (np.interp(at, line[:, 0], line[:, k]) for k in (1, 2))
                off = max(0.0, lower_m - z, z - upper_m)
                if off < radius:
                    half = np.sqrt(radius**2 - off**2)
                    spans.append(shapely.LineString([(at, y - half), (at, y + half)]))
            if spans:
                lost += shapely.union_all(spans).intersection(piece).length
        return lost / width.sum()

    def best(self):
        """Return the best net of this lay, by dynamic programming over the height steps."""
        mill, menu = self.problem.mill, self.problem.menu
        low = max(1, int(np.ceil(mill.lowest_blade_m / self.step_m - 1e-9)))
        rows = range(low, int(self.height_m / self.step_m) + 1)
        cost = {k: self.pass_cost(k * self.step_m) for k in rows}
        depth = mill.throat_depth_m or np.inf
        least_waste = int(np.ceil((0.0127 + self.kerf_m) / self.step_m - 1e-9))
        after, best = {}, 0.0
        for k in rows:
            if cost[k] is None:
                continue
            value = 0.0
            for j in range(low, k - least_waste + 1):
                if j in after and (k - j) * self.step_m <= depth:
                    value = max(value, after[j])
            for entry in menu:
                j = k - entry.drop_steps
                if j in after:
                    found = self.layer(entry, k * self.step_m, j * self.step_m + self.kerf_m)
                    value = max(value, found + after[j])
            after[k] = value - cost[k]
            if self.height_m - k * self.step_m <= depth:
                best = max(best, after[k])
        return best
