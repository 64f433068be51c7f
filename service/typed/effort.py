"""How long to search for a log's best plans, and whether to weigh doubt."""

from typing import Annotated, Literal

from pydantic import Field, field_validator

from optimizer.documents.typed import Typed
from optimizer.planning import DEFAULT_LAYS, SearchSettings
from optimizer.search.bucked import Buck
from scans.messages import named, quoted
from service.typed.errors import InputError
from service.typed.slab_set import set_of_text

Doubt = Annotated[
    Literal["on", "off"],
    Field(description="Whether to weigh how far the log may be off, and how far off it may be set."),
]

BuckGiven = Annotated[
    Buck,
    Field(description="Which buck cuts to look at before the log goes on the bed: all, those of limbs alone, none."),
]


class Effort(Typed):
    """The effort of a search."""

    lays: int = Field(DEFAULT_LAYS, ge=1, le=1_000_000, description="About how many lays to price.")
    seconds: float | None = Field(None, gt=0, le=1e6, description="When to stop at the latest. [s]")
    gap: float | None = Field(
        None, gt=0, lt=1, description="Go on proving until the gap is so small, as a share of the bound."
    )
    doubt: Doubt = "on"
    buck: BuckGiven = "best"
    seed: int = Field(0, ge=0, le=2**31, description="Of the random numbers; the same seed gives the same plans.")
    set: str | None = Field(
        None,
        max_length=40,
        description='Slabs that the plans must have, if any can: "4x8/4" is at least four of 8/4. Takes twice as long.',
    )

    @field_validator("set")
    @classmethod
    def readable(cls, typed: str | None) -> str | None:
        """Refuse a set that cannot be read."""
        if typed is not None:
            set_of_text(typed)
        return typed

    def settings(self, workers: int) -> SearchSettings:
        """Return the settings of the search. workers : how many cores."""
        return SearchSettings(
            lays=self.lays,
            seconds=self.seconds,
            gap=self.gap,
            seed=self.seed,
            workers=workers,
            doubt=self.doubt == "on",
            buck=self.buck,
            asked=None if self.set is None else set_of_text(self.set),
        )


def gap_of_text(typed: str | None) -> float | None:
    """Return the gap that was asked for, as a share; per cent with a sign. Raises InputError."""
    if typed is None:
        return None
    text = typed.strip()
    try:
        gap = float(text.removesuffix("%")) / (100.0 if text.endswith("%") else 1.0)
    except ValueError:
        raise InputError(
            f'{named("gap")} must be a share such as "2%" or 0.02, got {quoted(typed)}', field="gap"
        ) from None
    if not 0.0 < gap < 1.0:
        raise InputError(
            f'{named("gap")} must lie between 0 and 100%, such as "2%" or 0.02, got {quoted(typed)}', field="gap"
        )
    return gap
