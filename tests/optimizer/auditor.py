"""Checks a plan document from the log's mesh and the document alone; knows nothing of the kernels.

Faces are slices by a general-purpose library (manifold3d); widths are measured on scan-lines a few
millimetres apart; the heart strip is found by trying points. Everything else is arithmetic of the design.
"""

import functools
import itertools
from dataclasses import dataclass

import manifold3d
import numpy as np
import shapely
import trimesh

LINE_SPACING_M = 0.002
SQUARE_FEET_PER_M2 = 1.0 / 0.3048**2


def inwards(log, hearts, start):
    """The way of a mark's rod: along x from an end face, else towards the nearest heart."""
    x = log.outer.vertices_m[:, 0]
    if start[0] - x.min() < 0.02:
        return np.array([1.0, 0, 0])
    if x.max() - start[0] < 0.02:
        return np.array([-1.0, 0, 0])
    dense = []
    for line in hearts:
        dense += [a + np.linspace(0, 1, 200)[:, None] * (b - a) for a, b in itertools.pairwise(np.array(line))]
    dense = np.concatenate(dense)
    way = dense[np.argmin(np.linalg.norm(dense - start, axis=1))] - start
    return way / np.linalg.norm(way)


@dataclass
class _At:
    quarters: int
    lower_m: float
    upper_m: float
    plan: dict
    flipped: bool
    off_m: float | None
    hearts: list


class Audit:
    def __init__(self, log, document):
        self.log, self.document = log, document
        self.limits, self.tally = document["prices"]["limits"], document["prices"]["tally"]
        self.step_m = document["mill"]["height_step_m"]
        self.kerf_m = document["mill"]["kerf_m"]

    def body(self, solid, plan, usable=False, flipped=False):
        vertices = solid.vertices_m.copy()
        body = manifold3d.Manifold(manifold3d.Mesh64(vertices, solid.faces.astype(np.uint64)))
        low, high = plan["stretch_m"]
        if usable:
            butt, top = self.document["log"]["end_trim_m"]
            low, high = low + butt, high - top
        body = body.trim_by_plane((1, 0, 0), low).trim_by_plane((-1, 0, 0), -high)
        return body.transform(self.matrix(plan, flipped)[:3])

    @staticmethod
    def matrix(plan, flipped):
        return np.array(plan["flipped_log_to_bed"] if flipped else plan["log_to_bed"])

    def face(self, body, height_m):
        shape = shapely.Polygon()
        rings = [shapely.Polygon(ring) for ring in body.slice(height_m).to_polygons() if len(ring) > 2]
        # Even-odd: a ring within a ring is a hole.
        for ring in rings:
            shape = shape.symmetric_difference(ring.buffer(0))
        return shape

    def across(self, shape, places):
        """The stretches of wood (from y, to y) across a shape at each place, by rising y."""
        low, high = shape.bounds[1] - 1.0, shape.bounds[3] + 1.0
        lines = shapely.linestrings([[(x, low), (x, high)] for x in places])
        found = []
        for met in shapely.intersection(lines, shape):
            parts = [
                part for part in getattr(met, "geoms", [met]) if part.geom_type == "LineString" and part.length > 0
            ]
            found.append(sorted((part.bounds[1], part.bounds[3]) for part in parts))
        return found

    def counted(self, piece, others, faces, places):
        """The width that counts at each place: of the outline, or of what each face has of this piece."""
        rule = self.tally["face"]
        here = self.across(piece, places)
        if rule == "both":
            return np.array([sum(high - low for low, high in parts) for parts in here])
        beside = [self.across(other, places) for other in others]
        on_faces = [self.across(face, places) for face in faces]
        width = np.zeros(len(places))
        for k, own in enumerate(here):
            every = sorted([*own, *(part for other in beside for part in other[k])])
            sums = []
            for face in on_faces:
                total = 0.0
                for low, high in face[k]:
                    met = [part for part in every if low < 0.5 * (part[0] + part[1]) < high]
                    edges = [low, *(0.5 * (a[1] + b[0]) for a, b in itertools.pairwise(met)), high]
                    total += sum(
                        b - a for part, (a, b) in zip(met, itertools.pairwise(edges), strict=False) if part in own
                    )
                sums.append(total)
            if own:
                width[k] = {"narrow": min(sums), "wide": max(sums), "mean": 0.5 * sum(sums)}[rule]
        return width

    def kept(self, width_m, off_heart_m):
        """What is left of a green width when it is counted."""
        if self.tally["moisture"] == "green":
            return 1.0
        wood, moisture = self.document["wood"], self.document["prices"]["finish"]["moisture_pct"]
        share = max(0.0, 30.0 - moisture) / 30.0 / 100.0
        across, along = wood["shrinkage_radial_pct"] * share, wood["shrinkage_tangential_pct"] * share
        if off_heart_m is None:
            return 1.0 - 0.5 * (across + along)
        ratio = 2.0 * off_heart_m / width_m
        return 1.0 - across - (along - across) * ratio * np.arctan2(1.0, ratio)

    def heart_points(self, plan, flipped):
        """Points all along each heart line between the trims, evenly along the log; bed frame."""
        low, high = plan["stretch_m"]
        butt, top = self.document["log"]["end_trim_m"]
        matrix, found = self.matrix(plan, flipped), []
        for line in self.document["log"]["hearts"]:
            along, y, z = np.array(line).T
            x = np.arange(max(low + butt, along[0]), min(high - top, along[-1]), 0.001) + 0.0005
            points = np.stack([x, np.interp(x, along, y), np.interp(x, along, z)], axis=1)
            found.append(points @ matrix[:3, :3].T + matrix[:3, 3])
        return found

    def least_m(self, off_heart_m):
        """The green width that counts as the buyer's least."""
        found = self.limits["min_width_m"]
        for _ in range(50):
            found = self.limits["min_width_m"] / self.kept(found, off_heart_m)
        return found

    def runs(self, piece, others, faces, off_heart_m):
        """Places and widths of each run, and how far apart the places are."""
        x0, _, x1, _ = piece.bounds
        count = max(2, int((x1 - x0) / LINE_SPACING_M))
        edges = np.linspace(x0, x1, count + 1)
        middle = 0.5 * (edges[:-1] + edges[1:])
        width = self.counted(piece, others, faces, middle)
        wide = np.concatenate([[False], width >= self.least_m(off_heart_m), [False]])
        change = np.flatnonzero(wide[1:] != wide[:-1])
        for start, end in zip(change[::2], change[1::2], strict=True):
            for low, high in self.crosscut(edges[start], edges[end], middle[start:end], width[start:end], off_heart_m):
                kept = slice(*np.searchsorted(middle, (low, high)))
                yield low, high, middle[kept], width[kept], edges[1] - edges[0]

    def crosscut(self, low, high, middle, width, off_heart_m):
        """The lengths that a run gives: the fewest equal ones, or the part of maximum length with the most area."""
        length, least, most = high - low, self.limits["min_length_m"], self.limits["max_length_m"] or np.inf
        if length < least:
            return []
        parts = max(1, int(np.ceil(length / most - 1e-9)))
        if length / parts >= least:
            edges = np.linspace(low, high, parts + 1)
            return list(itertools.pairwise(edges))
        widest = (self.limits["max_width_m"] or np.inf) / self.kept(self.least_m(off_heart_m), off_heart_m)
        starts = np.arange(low, high - most, LINE_SPACING_M)
        areas = [np.minimum(width, widest)[(middle >= x) & (middle < x + most)].sum() for x in starts]
        best = starts[int(np.argmax(areas))]
        return [(best, best + most)]

    def tallied(self, low, high, middle, width, off_heart_m):
        """Width, length and area as the buyer counts them; None where they are under the limits."""
        kept = self.kept(width.mean(), off_heart_m)
        dry = np.minimum(kept * width, self.limits["max_width_m"] or np.inf)
        off = min(0.3048, 0.5 * (high - low))
        at = [np.interp(x, middle, dry) for x in (low + off, 0.5 * (low + high), high - off)]
        rules = {"mean": dry.mean(), "middle": at[1], "three": np.mean(at), "least": dry.min()}
        wide, long = rules[self.tally["width"]], high - low
        for name in ("width", "length"):
            step = self.tally[f"round_{name}_m"]
            size = wide if name == "width" else long
            if step:
                size = np.floor((size + 1e-9) / step) * step
                if size < self.limits[f"min_{name}_m"] - 1e-9:
                    return None
            wide, long = (size, long) if name == "width" else (wide, size)
        return wide, long, wide * long

    def offers(self, wide, long, area, quarters):
        """What each form of price that the book has for a thickness pays."""
        prices, species = self.document["prices"], self.document["log"]["species"]
        rows = [(form, row) for form in ("per_board_foot", "per_square_foot", "per_slab") for row in prices[form]]
        own = [pair for pair in rows if pair[1]["species"] == species] or rows
        for form, row in own:
            if row["quarters"] != quarters:
                continue
            if form == "per_slab":
                if wide >= row["least_width_m"] - 1e-9 and long >= row["least_length_m"] - 1e-9:
                    yield row["price"], "slab"
            else:
                feet = area * SQUARE_FEET_PER_M2 * (quarters / 4.0 if form == "per_board_foot" else 1.0)
                yield feet * row["price"] * self.factor(wide), form.removeprefix("per_")

    def shares(self, points, piece_line_matrix):
        """The largest share lost at points (P, 3) of the bed, whether each is in the feather, and in a bark pocket."""
        inverse = np.linalg.inv(piece_line_matrix)
        local = points @ inverse[:3, :3].T + inverse[:3, 3]
        lost, hidden = np.zeros(len(points)), np.zeros(len(points), dtype=bool)
        log, deduct = self.document["log"], self.document["prices"]["deduct"]
        for line in log["hearts"]:
            for a, b in itertools.pairwise(np.array(line)):
                along = np.clip((local - a) @ (b - a) / ((b - a) @ (b - a)), 0.0, 1.0)
                close = np.linalg.norm(local - a - along[:, None] * (b - a), axis=1) <= log["heart_radius_m"]
                lost[close] = np.maximum(lost[close], deduct["heart"])
        for mark in log["marks"]:
            start = np.array([mark["x_m"], mark["y_m"], mark["z_m"]])
            way = inwards(self.log, log["hearts"], start)
            along = (local - start) @ way
            off = np.linalg.norm(local - start - along[:, None] * way, axis=1)
            close = (along >= 0) & (along <= mark["depth_m"]) & (off <= mark["radius_m"])
            lost[close] = np.maximum(lost[close], deduct.get(mark["kind"], 0.0))
            hidden |= close & (mark["kind"] == "bark_pocket")
        figured = np.zeros(len(points), dtype=bool)
        for fork in log["forks"]:
            from_crotch = local - np.array(fork["crotch_m"])
            along = from_crotch @ np.array(fork["direction"])
            off_line = np.linalg.norm(from_crotch - along[:, None] * np.array(fork["direction"]), axis=1)
            off_plane = np.abs(from_crotch @ np.array(fork["normal"]))
            figured |= (
                (along >= -fork["below_m"])
                & (along <= fork["above_m"])
                & (off_plane <= 0.15 * fork["diameter_m"])
                & (off_line <= 0.5 * fork["diameter_m"])
            )
        return lost, figured, hidden

    def inside(self, piece, span, lower_m, upper_m, plan, flipped):
        """Share of the price lost, and figured area, by trying points between the faces."""
        part = piece.intersection(shapely.box(span[0], -9, span[1], 9))
        x0, y0, x1, y1 = part.bounds
        x, y = (a.ravel() for a in np.meshgrid(np.arange(x0, x1, 0.012) + 0.006, np.arange(y0, y1, 0.004) + 0.002))
        within = shapely.contains_xy(part, x, y)
        x, y = x[within], y[within]
        lost, hidden, faces = np.zeros(len(x)), np.zeros(len(x), dtype=bool), []
        for z in np.linspace(lower_m, upper_m, 13):
            here = self.shares(np.stack([x, y, np.full(len(x), z)], axis=1), self.matrix(plan, flipped))
            lost, hidden = np.maximum(lost, here[0]), hidden | here[2]
            faces.append(here[1])
        # A slab has the mean of what its two faces show, and none where bark is grown in.
        shown = 0.5 * (faces[0] * 1.0 + faces[-1]) * ~hidden
        return lost.mean(), shown.mean() * part.area

    def alignment(self, plan):
        normal = np.array(plan["log_to_bed"])[2, :3]
        cosines = [abs(normal @ np.array(fork["normal"])) for fork in self.document["log"]["forks"]]
        flattest = np.cos(np.radians(30.0))
        return max([max(0.0, (c - flattest) / (1.0 - flattest)) for c in cosines], default=0.0)

    def factor(self, mean_width_m):
        curve = self.document["prices"]["width_factor"]
        if not curve:
            return 1.0
        return np.interp(mean_width_m, [p["at_m"] for p in curve], [p["factor"] for p in curve])

    def drying_cost(self, feet, price, quarters):
        """Cost of drying, and what is lost of a price in drying and in waiting; only by rows that the book has."""
        prices = self.document["prices"]
        rows = {row["quarters"]: row for row in prices["drying"]} or {None: {}}
        row = rows[quarters] if quarters in rows else rows[None]
        later = (1.0 + prices["money"]["yearly_rate"]) ** (row.get("months", 0.0) / 12.0)
        kept = (1.0 - row.get("lost", 0.0)) / later
        return feet * row.get("cost_per_board_foot", 0.0) + price * (1.0 - kept)

    def layers(self, plan):
        """Yield (layer, flipped, upper, lower) in sawing order."""
        number = 0
        for flipped in (False, True):
            heights = [p["blade_height_m"] for p in plan["passes"] if p["flipped"] == flipped]
            for upper_m, below_m in itertools.pairwise(heights):
                number += 1
                yield number, flipped, upper_m, below_m + self.kerf_m
        if plan["flipped_log_to_bed"]:
            yield number + 1, True, heights[-1], 0.0

    def slabs(self, plan):
        """Yield (layer, area_m2, board feet, price, span, parts, form) of every slab that the passes give."""
        bodies = {False: self.body(self.log.wood, plan, usable=True)}
        if plan["flipped_log_to_bed"]:
            bodies[True] = self.body(self.log.wood, plan, usable=True, flipped=True)
        quarters = {slab["layer"]: slab["quarters"] for slab in plan["slabs"]}
        pace = self.document["mill"]["pace"]
        for layer, flipped, upper_m, lower_m in self.layers(plan):
            if layer not in quarters:
                continue
            faces = [self.face(bodies[flipped], height_m) for height_m in (upper_m, lower_m)]
            outline = faces[0].intersection(faces[1])
            pieces = [p for p in getattr(outline, "geoms", [outline]) if p.geom_type == "Polygon" and p.area > 1e-8]
            hearts = self.heart_points(plan, flipped)
            heights = np.concatenate([np.zeros(0), *(points[:, 2] for points in hearts)])
            off_m = abs(0.5 * (upper_m + lower_m) - heights.mean()) if len(heights) else None
            at = _At(quarters[layer], lower_m, upper_m, plan, flipped, off_m, hearts)
            for piece in sorted(pieces, key=lambda p: -p.centroid.y):
                others = [p for p in pieces if p is not piece]
                for start, end, middle, width, cell in self.runs(piece, others, faces, off_m):
                    found = self.slab(at, piece, others, faces, (start, end, middle, width))
                    if found is None:
                        continue
                    feet, price, parts, form = found
                    own = self.drying_cost(feet, price, quarters[layer])
                    own += pace["minutes_per_slab"] * pace["hourly_rate"] / 60.0
                    if price >= own:
                        outlines = np.array([sum(b - a for a, b in y) for y in self.across(piece, middle)])
                        area = np.minimum(outlines, self.limits["max_width_m"] or np.inf).sum() * cell
                        yield layer, area, feet, price, (start, end), parts, form

    def slab(self, at, piece, others, faces, run):
        """Board feet, price, parts and form of price of one slab, whole or ripped along its heart."""
        share, one, points = self.heart_in(at, piece, run[:2])
        with_heart = self.document["prices"]["deduct"]["slab_with_heart"]
        lost = with_heart if share > 0.25 else 0.0
        whole = self.sold(at, piece, run, lost)
        if whole is None or not (lost and one):
            return None if whole is None else (*whole[:2], [], whole[2])
        ripped = []
        for side in self.sides(points, run[:2]):
            shape = piece.intersection(side)
            cut = [s.intersection(side) for s in others], [s.intersection(side) for s in faces]
            best = max(
                (
                    found
                    for part in self.runs(shape.intersection(shapely.box(run[0], -9, run[1], 9)), *cut, at.off_m)
                    if (found := self.sold(at, shape, part[:4], 0.0)) is not None
                ),
                key=lambda found: self.after_drying(*found[:2], at.quarters),
                default=None,
            )
            if best is not None:
                ripped.append(best)
        feet, price = (sum(part[k] for part in ripped) for k in (0, 1))
        if self.after_drying(feet, price, at.quarters) > self.after_drying(*whole[:2], at.quarters):
            return feet, price, ripped, whole[2]
        return (*whole[:2], [], whole[2])

    def after_drying(self, feet, price, quarters):
        return price - self.drying_cost(feet, price, quarters)

    def sold(self, at, piece, run, lost_share):
        """Board feet, price and form of price of what is cut from a shape as one piece; None where nobody takes it."""
        counted = self.tallied(*run, at.off_m)
        if counted is None:
            return None
        price, form = max(self.offers(*counted, at.quarters))
        feet = counted[2] * SQUARE_FEET_PER_M2 * at.quarters / 4.0
        lost, figured = self.inside(piece, run[:2], at.lower_m, at.upper_m, at.plan, at.flipped)
        price *= max(0.0, 1.0 - lost - lost_share)
        figured_feet = figured * SQUARE_FEET_PER_M2 * at.quarters / 4.0
        price += self.document["prices"]["figure"]["feather_per_board_foot"] * figured_feet * self.alignment(at.plan)
        return feet, price, form

    def heart_in(self, at, piece, span):
        """In what share of a span a heart runs in the slab, whether only one at a time, and points where it does."""
        places, points = [], []
        for line in at.hearts:
            x, y, z = line.T
            held = (z >= at.lower_m) & (z <= at.upper_m) & (x >= span[0]) & (x <= span[1])
            held[held] = shapely.contains_xy(piece, x[held], y[held])
            places.append(np.unique(np.round(x[held] / 0.001)))
            points.append(line[held, :2])
        every = np.concatenate([np.zeros(0), *places])
        points = np.concatenate([np.zeros((0, 2)), *points])
        apart = len(np.unique(every))
        return apart * 0.001 / (span[1] - span[0]), len(every) - apart <= 2, points[np.argsort(points[:, 0])]

    def sides(self, points, span):
        """What lies to the left and right of two straight cuts, a heart's radius beyond where it strays farthest."""
        (x0, y0), (x1, y1) = points[0], points[-1]
        slope = (y1 - y0) / (x1 - x0)
        stray = points[:, 1] - y0 - slope * (points[:, 0] - x0)
        radius = self.document["log"]["heart_radius_m"] * np.sqrt(1.0 + slope**2)
        for off, far in ((stray.max() + radius, 9.0), (stray.min() - radius, -9.0)):
            ends = [(x, y0 + slope * (x - x0) + off) for x in (span[0] - 1, span[1] + 1)]
            yield shapely.Polygon([*ends, (span[1] + 1, far), (span[0] - 1, far)])

    def sawing_cost(self, plan):
        pace = self.document["mill"]["pace"]
        minutes = pace["minutes_per_slab"] * len(plan["slabs"])
        minutes += pace["minutes_per_flip"] if plan["flipped_log_to_bed"] else 0.0
        minutes += pace["minutes_per_log"] + (pace["minutes_per_roll"] if plan["roll_deg"] else 0.0)
        minutes += pace["minutes_per_support"] * sum(s["kind"] != "bears" for s in plan["supports"])
        minutes += pace["minutes_per_buck_cut"] * len(plan["buck_cuts"])
        metal = self.document["mill"]["metal"]
        beside = metal["strike_chance"] * metal["strike_cost"]
        for p in plan["passes"]:
            wood = self.body(self.log.wood, plan, flipped=p["flipped"])
            outer = self.body(self.log.outer, plan, flipped=p["flipped"])
            cut, across = self.face(wood, p["blade_height_m"]), self.face(outer, p["blade_height_m"])
            length = cut.bounds[2] - cut.bounds[0] if not cut.is_empty else 0.0
            feed = length / pace["feed_max_m_per_min"] if pace["feed_max_m_per_min"] else 0.0
            sawing = cut.area / pace["sawing_rate_m2_per_min"] if pace["sawing_rate_m2_per_min"] else 0.0
            minutes += max(feed, sawing) + pace["minutes_per_pass"]
            beside += cut.area * pace["blade_cost_per_m2"]
            yield "reach", p["reach_m"], across.bounds[3] - across.bounds[1]
            yield "area", p["cut_area_m2"], cut.area
        yield "cost", plan["sawing_cost"], minutes * pace["hourly_rate"] / 60.0 + beside


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
    low, high = plan["stretch_m"]
    body = manifold3d.Manifold(manifold3d.Mesh64(log.outer.vertices_m.copy(), log.outer.faces.astype(np.uint64)))
    body = body.trim_by_plane((1, 0, 0), low).trim_by_plane((-1, 0, 0), -high)
    box = body.transform(matrix[:3]).bounding_box()
    assert abs(box[2]) < 1e-9
    mill = document["mill"]
    for p in plan["passes"]:
        steps = p["blade_height_m"] / mill["height_step_m"]
        assert abs(steps - round(steps)) < 1e-6
        assert p["blade_height_m"] >= mill["lowest_blade_m"] - 1e-9
        assert mill["highest_blade_m"] is None or p["blade_height_m"] <= mill["highest_blade_m"] + 1e-9
        assert p["reach_m"] <= mill["throat_m"]
    if mill["throat_depth_m"]:
        assert box[5] - plan["passes"][0]["blade_height_m"] <= mill["throat_depth_m"] + 1e-9
    if mill["between_posts_m"]:
        assert box[4] - box[1] <= mill["between_posts_m"]


def check_stands(log, document, plan):
    """What the plan names holds the log before the first pass, after each and after the flip; loads make the weight.

    From the mesh, the matrices, the passes and the supports named alone.
    """
    mill, low, high = document["mill"], *plan["stretch_m"]
    tallest = max(mill["max_shim_m"], mill["max_prop_m"], 0.001)
    by_m = []
    body = manifold3d.Manifold(manifold3d.Mesh64(log.outer.vertices_m.copy(), log.outer.faces.astype(np.uint64)))
    body = body.trim_by_plane((1, 0, 0), low).trim_by_plane((-1, 0, 0), -high)
    for flipped in (False, True) if plan["flipped_log_to_bed"] else (False,):
        lying = body.transform(Audit.matrix(plan, flipped)[:3])
        ends_m = body.transform(Audit.matrix(plan, False)[:3]).bounding_box()
        if flipped:
            lying = lying.trim_by_plane((0, 0, 1), 0.0)
        named = [s for s in plan["supports"] if s["flipped"] is flipped]
        holds = [_held(lying, s, ends_m[0], mill) for s in named]
        for support in named:
            assert support["height_m"] <= tallest
            kind = "bears" if support["height_m"] <= 0.001 else "shim"
            assert support["kind"] == ("prop" if support["height_m"] > max(0.001, mill["max_shim_m"]) else kind)
        if not flipped:
            third = (ends_m[3] - ends_m[0]) / 3.0
            assert min(s["x_m"] for s in named) <= ends_m[0] + third
            assert max(s["x_m"] for s in named) >= ends_m[3] - third
        mass_kg = document["log"]["mass_kg"] * lying.volume() / log.outer.volume_m3
        centre = _mesh(lying).center_mass
        if not flipped:
            assert np.allclose(plan["mass_centre_m"], centre, atol=2e-5)  # it is written to 0.01 mm
        if high - low > document["log"]["length_m"] - 1e-6:
            assert abs(sum(s["load_kg"] for s in named) - mass_kg) < 1e-6 * mass_kg
            assert abs(sum(s["load_kg"] * s["x_m"] for s in named) - mass_kg * centre[0]) < 1e-5 * mass_kg
        heights = [p["blade_height_m"] for p in plan["passes"] if p["flipped"] is flipped]
        for top in [np.inf, *([] if mill["slabs_stay_on"] else sorted(heights, reverse=True))]:
            left = lying if top == np.inf else lying.trim_by_plane((0, 0, -1), -top)
            kept = [part for part in left.decompose() if top == np.inf or part.volume() >= 0.02]
            by_m += [_inside_by(part, holds) for part in kept]
    assert min(by_m) >= 0.0
    assert min(by_m) <= plan["stands_by_m"] + 1e-3  # by all that the mill has for it, never by less


def _mesh(body):
    mesh = body.to_mesh64()
    return trimesh.Trimesh(np.asarray(mesh.vert_properties)[:, :3], np.asarray(mesh.tri_verts), process=False)


def _sections(body, x_m):
    section = _mesh(body).section(plane_origin=(x_m, 0, 0), plane_normal=(1, 0, 0))
    rings = [] if section is None else [shapely.Polygon(ring[:, 1:]).buffer(0) for ring in section.discrete]
    return [ring for ring in rings if ring.area > 1e-6]


def _held(body, support, from_m, mill):
    """Where a support holds, (x, from y, to y, the half of it), seen from above."""
    spacing, first = mill["bunk_spacing_m"] or 0.6096, mill["first_bunk_m"] or 0.1524
    bunk = (support["x_m"] - from_m - first) / spacing
    assert abs(bunk - round(bunk)) < 1e-6
    point = shapely.Point(support["y_m"], support["height_m"])
    part = min(_sections(body, support["x_m"]), key=lambda part: part.distance(point))
    left, bottom, right, top = part.bounds
    assert abs(bottom - support["height_m"]) < 1e-4
    radius = min(np.sqrt(part.area / np.pi), 0.5 * (right - left), 0.5 * (top - bottom))
    flat = part.intersection(shapely.box(left, bottom, right, bottom + 1e-5))
    near = min(shapely.get_parts(flat), key=lambda piece: piece.distance(point))
    y0, _, y1, _ = near.bounds
    assert abs(0.5 * (y0 + y1) - support["y_m"]) < 1e-3
    y0, y1 = min(y0, support["y_m"] - 0.3 * radius), max(y1, support["y_m"] + 0.3 * radius)
    return support["x_m"], support["y_m"], support["height_m"], y0, y1


def _inside_by(part, holds):
    """How much farther the mass centre of a body is from the edge of what holds it than 2 in, or half a reach. [m]."""
    under = [h for h in holds if any(s.distance(shapely.Point(h[1], h[2])) < 0.001 for s in _sections(part, h[0]))]
    ends = [(x, y) for x, _, _, y0, y1 in under for y in (y0, y1)]
    margin = min(0.0508, 0.5 * max([0.5 * (h[4] - h[3]) for h in under], default=0.0))
    hull, centre = shapely.MultiPoint(ends).convex_hull, shapely.Point(_mesh(part).center_mass[:2])
    if hull.geom_type != "Polygon" or not hull.contains(centre):
        return -hull.distance(centre) - margin if ends else -np.inf
    return hull.exterior.distance(centre) - margin


def rod_points(log, hearts, mark):
    """Points (P, 3) all over a mark's rod, made on the whole log."""
    start = np.array([mark["x_m"], mark["y_m"], mark["z_m"]])
    way = inwards(log, hearts, start)
    across = np.linalg.svd(way[None])[2][1:]
    angle = np.linspace(0.0, 2.0 * np.pi, 180, endpoint=False)
    ring = mark["radius_m"] * np.stack([np.cos(angle), np.sin(angle)], axis=1) @ across
    along = np.linspace(0.0, mark["depth_m"], 200)
    # Discs too, not the round of the rod alone: a crosscut may leave a sliver of it.
    rings = np.concatenate([share * ring for share in np.linspace(0.0, 1.0, 9)])
    return (start + along[:, None, None] * way + rings).reshape(-1, 3)


def check_metal(log, document, plan):
    """No blade, kerf and all, comes nearer to metal on the bed than the keep-out."""
    audit, mill = Audit(log, document), document["mill"]
    for mark in document["log"]["marks"]:
        if mark["kind"] != "metal":
            continue
        points = rod_points(log, document["log"]["hearts"], mark)
        points = points[(points[:, 0] >= plan["stretch_m"][0]) & (points[:, 0] <= plan["stretch_m"][1])]
        for p in plan["passes"] if len(points) else ():
            matrix = audit.matrix(plan, p["flipped"])
            heights = points @ matrix[2, :3] + matrix[2, 3]
            low, high = heights.min() - mill["metal_keep_out_m"], heights.max() + mill["metal_keep_out_m"]
            blade = p["blade_height_m"]
            assert blade + mill["kerf_m"] <= low + 1e-3 or blade >= high - 1e-3


def check_pairs(document, plan):
    """No pairing of the plan's slabs brings more than its own, and each of its pairs is one. Return the premium."""
    share, least_m = document["prices"]["pairs"]["premium"], document["prices"]["limits"]["min_length_m"]
    slabs, outlines = plan["slabs"], [shapely.Polygon(slab["outline_m"][0]) for slab in plan["slabs"]]

    def is_pair(a, b):
        one, other = slabs[a], slabs[b]
        low, high = (pick(one["span_m"][k], other["span_m"][k]) for k, pick in ((0, max), (1, min)))
        if abs(one["layer"] - other["layer"]) != 1 or high - low < least_m - 1e-6:
            return False
        over = outlines[a].intersection(outlines[b]).intersection(shapely.box(low, -9.0, high, 9.0))
        return one["quarters"] == other["quarters"] and one["flipped"] == other["flipped"] and over.area > 1e-9

    edges = [edge for edge in itertools.combinations(range(len(slabs)), 2) if is_pair(*edge)] if share else []

    @functools.cache
    def most(left):
        free = [edge for edge in edges if edge[0] in left and edge[1] in left]
        if not free:
            return 0.0
        # The first slab that can pair goes alone, or with each that it can pair with.
        first = min(free)[0]
        best = most(left - {first})
        for a, b in free:
            if a == first:
                best = max(best, slabs[a]["price"] + slabs[b]["price"] + most(left - {a, b}))
        return best

    places = {slab["id"]: k for k, slab in enumerate(slabs)}
    said = [tuple(sorted(places[one] for one in pair)) for pair in plan["pairs"]]
    assert set(said) <= set(edges)
    assert len({k for pair in said for k in pair}) == 2 * len(said)
    premium = share * sum(slabs[k]["price"] for pair in said for k in pair)
    assert abs(premium - plan["pairs_premium"]) < 1e-6
    assert abs(premium - share * most(frozenset(range(len(slabs))))) < 1e-6
    return premium


def check_plan(log, document, plan, tolerance=0.005):
    """Find the same areas, board feet, prices and costs as a plan, within 0.5 %."""
    check_lay(log, document, plan)
    check_stands(log, document, plan)
    check_metal(log, document, plan)
    audit = Audit(log, document)
    found = list(audit.slabs(plan))
    assert len(found) == len(plan["slabs"]), [(f[0], f[4]) for f in found]
    for (layer, area, feet, price, span, parts, form), slab in zip(found, plan["slabs"], strict=True):
        assert layer == slab["layer"]
        assert form == slab["priced_by"]
        assert len(parts) == len(slab["ripped"])
        for part, said in zip(parts, slab["ripped"], strict=True):
            assert part[2] == said["priced_by"]
            assert abs(part[0] - said["board_feet"]) <= tolerance * said["board_feet"]
            assert abs(part[1] - said["price"]) <= tolerance * said["price"]
        assert abs(area - slab["area_m2"]) <= tolerance * slab["area_m2"]
        assert abs(feet - slab["board_feet"]) <= tolerance * slab["board_feet"]
        assert abs(price - slab["price"]) <= tolerance * slab["price"]
        assert abs(span[0] - slab["span_m"][0]) < 0.01
        assert abs(span[1] - slab["span_m"][1]) < 0.01
    for what, said, measured in audit.sawing_cost(plan):
        assert abs(said - measured) <= tolerance * max(measured, 1e-9), what
    gross = sum(f[3] for f in found)
    quarters = {slab["layer"]: slab["quarters"] for slab in plan["slabs"]}
    drying = sum(audit.drying_cost(feet, price, quarters[layer]) for layer, _, feet, price, *_ in found)
    thicknesses = document["prices"]["money"]["thicknesses"]
    assert thicknesses is None or len({slab["quarters"] for slab in plan["slabs"]}) <= thicknesses
    premium = check_pairs(document, plan)
    sold_as = {slab["id"]: slab["quarters"] for slab in plan["slabs"]}
    prices = {slab["id"]: slab["price"] for slab in plan["slabs"]}
    share = document["prices"]["pairs"]["premium"]
    for one, other in plan["pairs"]:
        # What is lost of a price in drying and in waiting is lost of the premium.
        drying += audit.drying_cost(0.0, share * (prices[one] + prices[other]), sold_as[one])
    net = gross + premium - plan["sawing_cost"] - drying + sum(bolt["worth"] for bolt in plan["bolts"])
    assert abs(net - plan["net"]) <= tolerance * gross
