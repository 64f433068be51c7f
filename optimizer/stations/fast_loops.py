"""What Numba may take for granted in loops that are to run on vector instructions."""

FAST = {"nnan", "nsz", "reassoc", "contract"}
"""Nothing is NaN; sums may be taken in any order. Infinities stand: an interval that meets nothing begins at inf."""
