"""Layers counted by every rule of the book against a slow twin, written from the rules and not from the kernels."""

import itertools
from math import atan, ceil, floor

import networkx as nx
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq
from test_layers import CELL_M, HEART_M, LOWER_M, UPPER_M, faces, largest, shown, some_terms, strips_at, within

from optimizer.stations.layers import layer_value, room_for
from optimizer.stations.terms import FACES, WIDTHS

FACE_NAMES, WIDTH_NAMES = ("both", "narrow", "wide", "mean"), ("mean", "middle", "three", "least")


def shares(intervals, met):
    """What of each of a face's stretches belongs to each of the outline's, parted half-way between neighbours."""
    own = []
    for low, high in met:
        (stretch,) = [s for s in intervals if s[0] <= low and high <= s[1]]
        beside = sorted(m for m in met if stretch[0] <= m[0] and m[1] <= stretch[1])
        k = beside.index((low, high))
        start = stretch[0] if k == 0 else (beside[k - 1][1] + low) / 2
        stop = stretch[1] if k == len(beside) - 1 else (high + beside[k + 1][0]) / 2
        own.append((start, stop))
    return own


def pieces_of(chords):
    """Pieces, each {station: [(outline, upper's own, lower's own), ...]}."""
    graph, at = nx.Graph(), []
    for i in range(chords.counts.shape[1]):
        stretches = [
            [tuple(float(y) for y in chords.y[f, c : c + 2, i]) for c in range(0, chords.counts[f, i], 2)]
            for f in (0, 1)
        ]
        met = [(max(a[0], b[0]), min(a[1], b[1])) for a in stretches[0] for b in stretches[1]]
        met = sorted(m for m in met if m[1] > m[0])
        own = [shares(stretches[f], met) for f in (0, 1)]
        at.append([(i, m, own[0][k], own[1][k]) for k, m in enumerate(met)])
        graph.add_nodes_from(at[-1])
        for p in at[i - 1] if i else []:
            graph.add_edges_from((p, q) for q in at[i] if min(p[1][1], q[1][1]) > max(p[1][0], q[1][0]))
    found = []
    for component in nx.connected_components(graph):
        piece = {}
        for i, *parts in component:
            piece.setdefault(i, []).append(parts)
        found.append(piece)
    return found


def cut(part, above, below):
    return max(0.0, min(part[1], below) - max(part[0], above))


class Twin:
    def __init__(self, terms, entry, chords, inside):
        self.terms, self.entry, self.inside, self.counting = terms, entry, inside, terms.counting
        self.stations = chords.counts.shape[1]
        self.pieces = pieces_of(chords)
        self.strips = [strips_at(inside, i) for i in range(self.stations)]
        self.off_m = abs((LOWER_M + UPPER_M) / 2 - inside.heart_m)
        self.least_m = brentq(lambda w: w * self.kept(w) - terms.min_width_m, 1e-6, 9.0, xtol=1e-13)
        self.ripped = 0

    def kept(self, width_m):
        """What is left of a width once it is dry."""
        radial, tangential = self.counting.shrinks_radial, self.counting.shrinks_tangential
        if np.isnan(self.off_m):
            return 1.0 - (radial + tangential) / 2
        ratio = 2.0 * self.off_m / width_m
        return 1.0 - radial - (tangential - radial) * (ratio * atan(1.0 / ratio) if ratio > 0 else 0.0)

    def value(self):
        return sum(self.of_piece(piece) for piece in self.pieces)

    def profile(self, piece, sides):
        """Nodes of a piece, between two y at each station: place, what counts, outline, lost, figured."""
        rows, face = [], FACE_NAMES[self.counting.face]
        for i in sorted(piece):
            above, below = sides(i)
            outline, upper, lower = (sum(cut(part[k], above, below) for part in piece[i]) for k in range(3))
            face = FACE_NAMES[self.counting.face]
            counts = {
                "both": outline,
                "narrow": min(upper, lower),
                "wide": max(upper, lower),
                "mean": (upper + lower) / 2,
            }
            strips, on_upper, on_lower = self.strips[i]
            lost = figured = 0.0
            for low, high in [(max(p[0][0], above), min(p[0][1], below)) for p in piece[i]]:
                if high > low:
                    lost += largest(strips, low, high)
                    figured += (shown(strips, on_upper, low, high) + shown(strips, on_lower, low, high)) / 2
            rows.append(((i + 0.5) * CELL_M, counts[face] if outline > 0.0 else 0.0, outline, lost, figured))
        first, last = min(piece), max(piece)
        ends = []
        for row, is_trim, way in ((rows[0], first == 0, -1), (rows[-1], last == self.stations - 1, 1)):
            goes_on = is_trim or face in ("wide", "mean")  # to the trim, or till half-way to where the faces part
            place = row[0] + way * CELL_M * (0.5 if goes_on else 1.0)
            ends.append((place, row[1] if goes_on else 0.0, row[2] if goes_on else 0.0, row[3], row[4]))
        return np.array([ends[0], *rows, ends[1]]).T

    def runs(self, nodes):
        x, w = nodes[0], nodes[1]
        places = {float(p) for p in x}
        for k in range(len(x) - 1):
            if (w[k] - self.least_m) * (w[k + 1] - self.least_m) < 0:
                places.add(float(x[k] + (self.least_m - w[k]) / (w[k + 1] - w[k]) * (x[k + 1] - x[k])))
        found, start, places = [], None, sorted(places)
        for a, b in itertools.pairwise(places):
            wide = np.interp((a + b) / 2, x, w) >= self.least_m
            start = a if wide and start is None else start
            if start is not None and not wide:
                found.append((start, a))
                start = None
        return [*found, (start, places[-1])] if start is not None else found

    def area(self, nodes, row, start, stop, most=np.inf):
        inner = nodes[0][(nodes[0] > start + 1e-9) & (nodes[0] <= stop + 1e-9)]
        x = np.concatenate([[start], inner, [stop]])
        values = np.minimum(np.interp(x, nodes[0], nodes[row]), most)
        if row > 2 and len(inner):  # what is lost and figured is level beyond the outer stations
            values[0], values[-1] = values[1], values[-2]
        return np.trapezoid(values, x)

    def spans(self, nodes, run):
        t, (start, stop) = self.terms, run
        if stop - start < t.min_length_m:
            return []
        parts = max(1, ceil((stop - start) / t.max_length_m - 1e-12))
        if (stop - start) / parts >= t.min_length_m:
            return list(itertools.pairwise(np.linspace(start, stop, parts + 1)))
        most = t.max_width_m / self.kept(self.least_m)
        starts = [start, stop - t.max_length_m, *nodes[0], *(nodes[0] - t.max_length_m)]
        starts = [x for x in starts if start <= x and x + t.max_length_m <= stop]
        best = max(starts, key=lambda x: self.area(nodes, 1, x, x + t.max_length_m, most))
        return [(best, best + t.max_length_m)]

    def money(self, nodes, start, stop, lost_share):
        t, c = self.terms, self.counting
        length = stop - start
        kept = self.kept(self.area(nodes, 1, start, stop) / length)
        area = kept * self.area(nodes, 1, start, stop, t.max_width_m / kept)

        def at(x):
            return min(kept * np.interp(x, nodes[0], nodes[1]), t.max_width_m)

        inner = nodes[0][(nodes[0] > start) & (nodes[0] < stop)]
        off = min(0.3048, length / 2)
        three = [at(start + off), at((start + stop) / 2), at(stop - off)]
        width = {
            "mean": area / length,
            "middle": three[1],
            "three": sum(three) / 3,
            "least": min(at(x) for x in [start, stop, *inner]),
        }[WIDTH_NAMES[c.width]]
        if c.round_width_m:
            width = floor((width - c.spare_width_m + 1e-9) / c.round_width_m) * c.round_width_m
        if c.round_length_m:
            length = floor((length - c.spare_length_m + 1e-9) / c.round_length_m) * c.round_length_m
        if c.round_width_m and width < c.least_width_m - 1e-9:
            return -np.inf
        if c.round_length_m and length < c.least_length_m - 1e-9:
            return -np.inf
        feet = width * length * t.board_feet_per_m2[self.entry]
        price = feet * t.price[self.entry] * np.interp(width, t.width_at_m, t.width_factor)
        wide = width - (0 if c.round_width_m else c.spare_width_m) + 1e-9
        long = length - (0 if c.round_length_m else c.spare_length_m) + 1e-9
        for entry, paid, w, x in zip(c.row_entry, c.row_price, c.row_width_m, c.row_length_m, strict=True):
            if entry == self.entry and wide >= w and long >= x:
                price = max(price, paid)
        lost = self.area(nodes, 3, start, stop) / self.area(nodes, 2, start, stop)
        price *= max(0.0, 1.0 - lost - lost_share)
        figured = self.area(nodes, 4, start, stop) * t.board_feet_per_m2[self.entry]
        return price + figured * t.feather_per_board_foot[self.entry] - feet * t.drying_per_board_foot[self.entry]

    def of_piece(self, piece):
        total = 0.0
        nodes = self.profile(piece, lambda _: (-np.inf, np.inf))
        for run in self.runs(nodes):
            for span in self.spans(nodes, run):
                total += max(0.0, self.whole_or_ripped(piece, nodes, *span) - self.terms.slab_cost)
        return total

    def whole_or_ripped(self, piece, nodes, start, stop):
        share = self.counting.slab_with_heart
        inside = []
        for i in sorted(piece):
            if not start <= (i + 0.5) * CELL_M <= stop:
                continue
            for c in range(int(self.inside.heart_counts[i])):
                y, z = self.inside.hearts[c, :2, i]
                if LOWER_M <= z <= UPPER_M and any(p[0][0] <= y <= p[0][1] for p in piece[i]):
                    inside.append(((i + 0.5) * CELL_M, y))
        places = {x for x, _ in inside}
        if share == 0.0 or len(places) * CELL_M <= 0.25 * (stop - start):
            return self.money(nodes, start, stop, 0.0)
        whole = self.money(nodes, start, stop, share)
        if len(places) < len(inside) or whole == -np.inf:
            return whole
        (x0, y0), (x1, y1) = inside[0], inside[-1]
        slope = (y1 - y0) / (x1 - x0) if x1 > x0 else 0.0
        stray = [y - y0 - slope * (x - x0) for x, y in inside]
        half = HEART_M * np.hypot(1.0, slope)

        def line(i, off):
            return y0 + slope * ((i + 0.5) * CELL_M - x0) + off

        sides = (
            lambda i: (line(i, max(stray) + half), np.inf),
            lambda i: (-np.inf, line(i, min(stray) - half)),
        )
        ripped = 0.0
        for side in sides:
            part, best = self.profile(piece, side), 0.0
            for run in self.runs(part):
                a, b = max(run[0], start), min(run[1], stop)
                if b - a >= self.terms.min_length_m:
                    best = max(best, self.money(part, a, b, 0.0))
            ripped += best
        self.ripped += ripped > whole
        return max(whole, ripped)


def terms_by(rng, *, face, width, dry, rounded, by_slab, heart):
    terms = some_terms()
    rows = {
        "row_entry": np.array([1, 0, 1], dtype=np.int64),
        "row_price": np.array([250.0, 9000.0, 500.0]),
        "row_width_m": np.array([0.2, 0.1, 0.3]),
        "row_length_m": np.array([0.6, 0.1, 0.8]),
    }
    counting = terms.counting._replace(
        plain=False,
        face=FACES[FACE_NAMES.index(face)],
        width=WIDTHS[WIDTH_NAMES.index(width)],
        shrinks_radial=0.04 if dry else 0.0,
        shrinks_tangential=0.09 if dry else 0.0,
        round_width_m=0.0254 if rounded else 0.0,
        round_length_m=0.15 if rounded else 0.0,
        least_width_m=0.149,
        least_length_m=0.545,
        slab_with_heart=heart,
        **(rows if by_slab else {}),
    )
    longest = float(rng.choice([np.inf, 1.1, 0.9]))
    return terms._replace(counting=counting, max_length_m=longest, max_width_m=float(rng.choice([np.inf, 0.4])))


RULES = {
    "face": st.sampled_from(FACE_NAMES),
    "width": st.sampled_from(WIDTH_NAMES),
    "dry": st.booleans(),
    "rounded": st.booleans(),
    "by_slab": st.booleans(),
    "heart": st.sampled_from([0.0, 0.35, 1.0]),
}


def both_ways(terms, chords, inside):
    """What the kernel finds, as faces of one interval where they have no more, and as any others."""
    stations = chords.counts.shape[1]
    room = room_for(stations, max(2, chords.most), inside.most, inside.most_figured)
    simple = bool((chords.counts <= 2).all())
    return [
        layer_value(terms, 1, chords, 0, chords, 1, 0, stations, CELL_M, how, inside, LOWER_M, UPPER_M, room, 0.0)
        for how in (simple, False)
    ]


@settings(max_examples=300, deadline=None)
@given(
    seed=st.integers(0, 1_000_000),
    most=st.integers(1, 3),
    hearts=st.integers(0, 2),
    zones=st.integers(0, 1),
    long=st.booleans(),
    rules=st.fixed_dictionaries(RULES),
)
def test_a_layer_brings_what_its_pieces_bring_by_every_rule(seed, most, hearts, zones, long, rules):
    rng = np.random.default_rng(seed)
    stations = int(rng.integers(8, 30))
    chords, inside = faces(rng, stations, most, long), within(rng, stations, hearts, zones)
    inside = inside._replace(heart_m=float(rng.choice([0.1, 0.13, 0.5, np.nan])))
    terms = terms_by(rng, **rules)

    found, general = both_ways(terms, chords, inside)

    assert found == pytest.approx(Twin(terms, 1, chords, inside).value(), rel=1e-4, abs=1e-4)
    assert general == pytest.approx(found, rel=1e-9, abs=1e-9)


def test_the_layers_tried_tell_the_rules_apart():
    # So that the test above does not compare nothing with nothing.
    plain = {"face": "both", "width": "mean", "dry": False, "rounded": False, "by_slab": False, "heart": 0.0}
    others = [{"face": f} for f in FACE_NAMES[1:]] + [{"width": w} for w in WIDTH_NAMES[1:]]
    others += [{"dry": True}, {"rounded": True}, {"by_slab": True}, {"heart": 1.0}]
    worth, ripped = 0, 0
    differ = dict.fromkeys(range(len(others)), 0)
    for seed in range(60):
        rng = np.random.default_rng(seed)
        chords, inside = faces(rng, 20, 2, long=True), within(rng, 20, 1, 0)
        before = both_ways(terms_by(np.random.default_rng(seed), **plain), chords, inside)[0]
        worth += before > 0.0
        for k, rule in enumerate(others):
            terms = terms_by(np.random.default_rng(seed), **{**plain, **rule})
            differ[k] += abs(both_ways(terms, chords, inside)[0] - before) > 0.01
        twin = Twin(terms, 1, chords, inside)
        twin.value()
        ripped += twin.ripped
    assert worth > 20
    assert min(differ.values()) > 5, differ
    assert ripped > 3


def test_the_rules_of_before_bring_the_same_by_either_kernel():
    for seed in range(60):
        rng = np.random.default_rng(seed)
        chords, inside, terms = faces(rng, 20, 2, long=True), within(rng, 20, 2, 1), some_terms()
        by_any = terms._replace(counting=terms.counting._replace(plain=False))

        assert both_ways(by_any, chords, inside) == pytest.approx(both_ways(terms, chords, inside), rel=1e-9)
