"""What is drawn of a log in the round, so that a legend names all of it."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from optimizer.documents.plan import Mark

_FLAWS = {"knot": "knots", "rot": "rot", "crack": "cracks", "bark_pocket": "bark pockets"}


@dataclass(frozen=True)
class InRound:
    """What is drawn beside a log's surface.

    hearts : whether its hearts are known, and drawn as lines. metal : whether metal is marked. flaws : the other marks,
    in words; empty where there are none.
    """

    hearts: bool
    metal: bool
    flaws: str


def in_round(hearts: Sequence[Any], marks: Iterable[Mark]) -> InRound:
    """Return what is drawn of a log with such hearts (lines of points) and marks."""
    kinds = {mark.kind for mark in marks}
    return InRound(
        hearts=any(len(line) > 0 for line in hearts),
        metal="metal" in kinds,
        flaws=", ".join(words for kind, words in _FLAWS.items() if kind in kinds),
    )
