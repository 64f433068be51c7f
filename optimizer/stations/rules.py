"""What holds for all layers of a log together, beside what each brings by itself."""

from dataclasses import dataclass, field


@dataclass(frozen=True)
class Wanted:
    """A set to be sawn: at least so many slabs of an entry of the menu."""

    entry: int
    count: int


@dataclass(frozen=True)
class Rules:
    """Pairs, few thicknesses and sets; as they are here, none of them.

    pair_premium : share of both prices that two slabs bring on top that are sawn one after the other.
    thicknesses : at most so many different entries of the menu; None for any number. sawn : those that are sawn
    already, which count. wanted : what the plan must give.
    """

    pair_premium: float = 0.0
    thicknesses: int | None = None
    sawn: frozenset[int] = field(default_factory=frozenset)
    wanted: Wanted | None = None

    def bind(self, entries: int) -> bool:
        """Tell whether any of them can change the passes, with so many entries on the menu."""
        few = self.thicknesses is not None and self.thicknesses < entries
        return self.pair_premium > 0.0 or few or self.wanted is not None


NO_RULES = Rules()


def only(entry: int, rules: Rules) -> Rules:
    """Return rules that leave one entry of the menu."""
    return Rules(rules.pair_premium, 1, frozenset({entry}))
