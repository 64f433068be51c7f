"""What passes leave between them, and whether a cut goes through what it must keep out of."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Protocol

from scans.log import FloatArray


class Sawn(Protocol):
    """A pass, as far as layers hang on it: the bottom of its kerf above the bunks [m], whether it follows a flip."""

    @property
    def blade_height_m(self) -> float:
        """The bottom of its kerf, above the bunks. [m]."""

    @property
    def flipped(self) -> bool:
        """Whether it is made after the flip."""


@dataclass(frozen=True)
class Layer:
    """The wood between two passes, or between the last pass after a flip and the bunks; bed frame of its passes.

    number : from 1 in sawing order. upper_pass, lower_pass : from 0, the passes that open its faces; None where the
    lower one lies on the bunks. upper_m, lower_m : heights of the faces. [m]
    """

    number: int
    flipped: bool
    upper_pass: int
    lower_pass: int | None
    upper_m: float
    lower_m: float


def layers_between(passes: Sequence[Sawn], kerf_m: float) -> list[Layer]:
    """Return the layers that passes leave, in sawing order: with a flip, the piece on the bunks is the last of them."""
    found: list[Layer] = []
    for k, (upper, lower) in enumerate(pairwise(passes)):
        if upper.flipped is lower.flipped:
            faces_m = upper.blade_height_m, lower.blade_height_m + kerf_m
            found.append(Layer(len(found) + 1, upper.flipped, k, k + 1, *faces_m))
    if passes[-1].flipped:
        found.append(Layer(len(found) + 1, True, len(passes) - 1, None, passes[-1].blade_height_m, 0.0))
    return found


def kept_out_m(places_m: FloatArray, keep_out_m: float) -> tuple[float, float]:
    """Return from where to where no cut may go: the extent of some places (P,), and the keep-out beside it. [m]."""
    return float(places_m.min()) - keep_out_m, float(places_m.max()) + keep_out_m


def cut_meets(cut_m: tuple[Any, Any], barred_m: tuple[float, float]) -> Any:
    """Tell whether a cut goes into what bars it; one that only touches it does not.

    cut_m : from where to where the cut is, floats or arrays of them: a kerf, or one and the same place for a crosscut.
    """
    return (cut_m[1] > barred_m[0]) & (cut_m[0] < barred_m[1])


def cut_apart_m(cut_m: tuple[float, float], places_m: FloatArray) -> float:
    """Return how far a cut stays from places (P,) on either side of it; 0 where it goes between them. [m]."""
    return max(0.0, float(places_m.min()) - cut_m[1], cut_m[0] - float(places_m.max()))
