"""Layers of random outlines against a slow twin, written from the rules and not from the kernels."""

import itertools

import books
import networkx as nx
import numpy as np
import pytest
import shapes
from hypothesis import given, settings
from hypothesis import strategies as st

from optimizer.stations.chords import Chords
from optimizer.stations.inside import Inside, heart_sections, strips_of_layer
from optimizer.stations.layers import layer_value, room_for

CELL_M = 0.1
LOWER_M, UPPER_M = 0.10, 0.16
HEART_M = 0.03


def faces(rng, stations, most, long):
    """Two faces, each with up to `most` intervals a station, that wander along the log."""
    slots = max(2, 2 * most)
    counts = np.zeros((2, stations), dtype=np.uint8)
    y = np.zeros((2, slots, stations), dtype=np.float32)
    y[:, 0], y[:, 1] = np.inf, -np.inf
    for face in range(2):
        edges = np.sort(rng.uniform(-0.6, 0.6, 2 * most))
        for i in range(stations):
            edges = np.sort(edges + rng.normal(0.0, 0.015 if long else 0.08, 2 * most))
            held = [m for m in range(most) if rng.random() > (0.03 if long else 0.2)]
            counts[face, i] = 2 * len(held)
            for k, m in enumerate(held):
                y[face, 2 * k, i], y[face, 2 * k + 1, i] = edges[2 * m], edges[2 * m + 1]
    return Chords(counts, y, int(counts.max()))


def within(rng, stations, hearts, zones):
    """Heart strips and square zones at some stations."""
    counts = rng.integers(0, hearts + 1, stations)
    offsets = np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)
    ways = rng.normal(0.0, 0.3, (offsets[-1], 2))
    places = np.stack([rng.uniform(-0.08, 0.08, offsets[-1]), rng.uniform(0.05, 0.2, offsets[-1])], axis=1)
    sections = heart_sections(np.concatenate([places, np.clip(ways, -0.6, 0.6)], axis=1), offsets, 0.0, HEART_M)
    spans = np.zeros((len(sections), 2), dtype=np.int64)
    for c in range(len(sections)):
        there = np.flatnonzero(counts > c)
        spans[c] = there[0], there[-1] + 1
    squares = rng.integers(0, zones + 1, stations)
    rings = []
    for _ in range(squares.sum()):
        y, z, half = rng.uniform(-0.4, 0.4), rng.uniform(0.0, 0.2), rng.uniform(0.02, 0.2)
        rings += [(y - half, z - half), (y + half, z - half), (y + half, z + half), (y - half, z + half)]
    total = int(squares.sum())
    figured = rng.random(total) < 0.5
    return Inside(
        hearts=sections,
        heart_counts=counts.astype(np.int64),
        heart_spans=spans,
        zone_offsets=np.concatenate([[0], np.cumsum(squares)]).astype(np.int64),
        ring_offsets=4 * np.arange(total + 1, dtype=np.int64),
        rings=np.array(rings).reshape(-1, 2),
        zone_share=np.where(figured, 0.0, rng.choice([0.0, 0.25, 1.0], total)),
        zone_feather=np.where(figured, rng.choice([0.3, 0.6], total), 0.0),
        zone_figured=figured,
        zone_hides=~figured & (rng.random(total) < 0.4),
        heart_share=0.4,
        rise_m=np.zeros(stations),
        cos_tilt=1.0,
        low_m=-1.0,
        high_m=1.0,
        heart_m=0.1,
        heart_radius_m=HEART_M,
        most=len(sections) + int(squares.max()),
        most_figured=int(squares.max()),
        best_feather=0.6 if zones else 0.0,
    )


def strips_at(inside, i):
    """(from, to, share lost, whether it hides figure) between the faces at a station, by looking at many heights.

    And (from, to, share of the premium) of the feathers on the upper and on the lower face.
    """
    found, faces = [], ([], [])
    heights = np.linspace(LOWER_M, UPPER_M, 4001)
    for c in range(int(inside.heart_counts[i])):
        y, z, slope, flat, top, _at = inside.hearts[c, :, i]
        v = heights[np.abs(heights - z) <= top] - z
        if len(v):
            half = flat * np.sqrt(np.maximum(0.0, top * top - v * v))
            found.append((y + (slope * v - half).min(), y + (slope * v + half).max(), inside.heart_share, False))
    for q in range(inside.zone_offsets[i], inside.zone_offsets[i + 1]):
        ring = inside.rings[4 * q : 4 * q + 4]
        across = ring[:, 0].min(), ring[:, 0].max()
        if inside.zone_figured[q]:
            for face, height in zip(faces, (UPPER_M, LOWER_M), strict=True):
                if ring[:, 1].min() < height < ring[:, 1].max():
                    face.append((*across, inside.zone_feather[q]))
        elif ring[:, 1].min() < UPPER_M and ring[:, 1].max() > LOWER_M:
            found.append((*across, inside.zone_share[q], bool(inside.zone_hides[q])))
    return found, *faces


def shown(strips, face, low, high):
    """How much of the premium one face shows along low .. high, but where something hides it."""
    places = np.unique(np.clip([low, high, *(s[k] for s in (*strips, *face) for k in (0, 1))], low, high))
    total = 0.0
    for a, b in itertools.pairwise(places):
        middle = 0.5 * (a + b)
        if not any(s[3] and s[0] < middle < s[1] for s in strips):
            total += (b - a) * max((s[2] for s in face if s[0] < middle < s[1]), default=0.0)
    return total


def largest(strips, low, high):
    places = np.unique(np.clip([low, high, *(s[0] for s in strips), *(s[1] for s in strips)], low, high))
    middles = 0.5 * (places[:-1] + places[1:])
    shares = [max((s[2] for s in strips if s[0] < m < s[1]), default=0.0) for m in middles]
    return float(np.dot(np.diff(places), shares))


def twin(terms, entry, chords, inside):
    """What the layer brings, piece by piece, each a component of a graph of intervals."""
    stations = chords.counts.shape[1]
    graph, at = nx.Graph(), [[] for _ in range(stations)]
    for i in range(stations):
        for a in range(0, chords.counts[0, i], 2):
            for b in range(0, chords.counts[1, i], 2):
                low = float(max(chords.y[0, a, i], chords.y[1, b, i]))
                high = float(min(chords.y[0, a + 1, i], chords.y[1, b + 1, i]))
                if high > low:
                    at[i].append((i, low, high))
                    graph.add_node(at[i][-1])
        for p in at[i - 1] if i else []:
            for q in at[i]:
                if min(p[2], q[2]) > max(p[1], q[1]):
                    graph.add_edge(p, q)
    strips = [strips_at(inside, i) for i in range(stations)]
    return sum(_piece(terms, entry, piece, stations, strips) for piece in nx.connected_components(graph))


def _piece(terms, entry, piece, stations, strips):
    width, lost, figured = np.zeros(stations + 2), np.zeros(stations + 2), np.zeros(stations + 2)
    for i, low, high in piece:
        width[i + 1] += high - low
        between, upper, lower = strips[i]
        lost[i + 1] += largest(between, low, high)
        figured[i + 1] += 0.5 * (shown(between, upper, low, high) + shown(between, lower, low, high))
    # Places: the trims, half a cell beyond the outer stations, and the stations themselves.
    wide = width >= terms.min_width_m
    wide[[0, -1]] = False
    total, i = 0.0, 0
    while i < stations + 2:
        if not wide[i]:
            i += 1
            continue
        j = i
        while wide[j + 1]:
            j += 1
        x, w = [(k - 0.5) * CELL_M for k in range(i, j + 1)], list(width[i : j + 1])
        lose, show = list(lost[i : j + 1]), list(figured[i : j + 1])
        for end, beyond, way in ((-1, j + 1, 1), (0, i - 1, -1)):
            if beyond in (0, stations + 1):
                reach, edge = 0.5 * CELL_M, w[end]
            else:
                reach, edge = CELL_M * (w[end] - terms.min_width_m) / (w[end] - width[beyond]), terms.min_width_m
            where = len(x) if way > 0 else 0
            for values, value in ((x, x[end] + way * reach), (w, edge), (lose, lose[end]), (show, show[end])):
                values.insert(where, value)
        total += _run(terms, entry, *(np.array(v) for v in (x, w, lose, show)))
        i = j + 1
    return total


def _run(terms, entry, x, w, lose, show):
    length = x[-1] - x[0]
    if length < terms.min_length_m:
        return 0.0
    assert length <= terms.max_length_m  # crosscutting is tried elsewhere
    uncapped = np.trapezoid(w, x)
    area = np.trapezoid(np.minimum(w, terms.max_width_m), x)
    feet = area * terms.board_feet_per_m2[entry]
    price = feet * terms.price[entry] * np.interp(area / length, terms.width_at_m, terms.width_factor)
    price *= max(0.0, 1.0 - np.trapezoid(lose, x) / uncapped)
    price += np.trapezoid(show, x) * terms.board_feet_per_m2[entry] * terms.feather_per_board_foot[entry]
    return max(0.0, price - feet * terms.drying_per_board_foot[entry] - terms.slab_cost)


def some_terms():
    terms = books.problem(shapes.cylinder(), prices_=books.prices((8, 12), (9.0, 12.0))).terms
    return terms._replace(
        min_width_m=0.15, max_width_m=0.45, min_length_m=0.55, max_length_m=np.inf, slab_cost=0.5,
        drying_per_board_foot=np.full(2, 0.3), feather_per_board_foot=np.full(2, 4.0),
        width_at_m=np.array([0.2, 0.5]), width_factor=np.array([0.8, 1.3]),
    )  # fmt: skip


@settings(max_examples=150, deadline=None)
@given(
    seed=st.integers(0, 1_000_000),
    most=st.integers(1, 3),
    hearts=st.integers(0, 3),
    zones=st.integers(0, 2),
    long=st.booleans(),
)
def test_a_layer_brings_what_its_pieces_bring(seed, most, hearts, zones, long):
    rng = np.random.default_rng(seed)
    stations = int(rng.integers(8, 30))
    chords, inside, terms = faces(rng, stations, most, long), within(rng, stations, hearts, zones), some_terms()
    room = room_for(stations, max(2, chords.most), inside.most, inside.most_figured)
    simple = bool((chords.counts <= 2).all())

    found = layer_value(
        terms, 1, chords, 0, chords, 1, 0, stations, CELL_M, simple, inside, LOWER_M, UPPER_M, room, 0.0
    )  # fmt: skip
    general = layer_value(
        terms, 1, chords, 0, chords, 1, 0, stations, CELL_M, False, inside, LOWER_M, UPPER_M, room, 0.0
    )  # fmt: skip

    expected = twin(terms, 1, chords, inside)
    assert found == pytest.approx(expected, rel=1e-4, abs=1e-4)
    assert general == pytest.approx(found, rel=1e-9, abs=1e-9)


def test_the_outlines_tried_have_slabs_pieces_that_join_and_flaws():
    # So that the test above does not compare nothing with nothing.
    worth, joined = 0, 0
    for seed in range(60):
        rng = np.random.default_rng(seed)
        chords, inside = faces(rng, 20, 2, long=True), within(rng, 20, 2, 1)
        worth += twin(some_terms(), 1, chords, inside) > 0.0
        joined += any(chords.counts[0, i] > chords.counts[0, i + 1] > 0 for i in range(19))
    assert worth > 20
    assert joined > 30


def test_slots_of_hearts_that_are_not_there_hold_nothing():
    inside = within(np.random.default_rng(3), 12, 2, 1)
    strips, counts = np.full((3, 4, 12), 0.07), np.zeros(12, dtype=np.int64)

    strips_of_layer(inside, 0, LOWER_M, UPPER_M, strips, counts, np.zeros((1, 5, 12)), np.zeros(12, dtype=np.int64))

    for i in range(12):
        for c in range(int(inside.heart_counts[i]), len(inside.hearts)):
            assert strips[c, 0, i] > strips[c, 1, i]
