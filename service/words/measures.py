"""Measures as people read them: inches, feet and pounds, or metric; board feet and money in both."""

from dataclasses import dataclass
from math import floor

from optimizer.documents.mill import Mill
from optimizer.report.loads import lift_kg
from scans.units import FOOT_M, INCH_M, POUND_KG, feet_text, fraction_text, inches_text
from service.words.units import Units

_DENOMINATORS = (1, 2, 4, 8, 16, 32, 64)
_WHOLE = 1e-6
_SIGNS = {"USD": "$"}


def _is_whole(value: float) -> bool:
    return abs(value - round(value)) < _WHOLE


def _half_up(value: float) -> int:
    return floor(value + 0.5)


def fixed(value: float, places: int, thousands: str = "") -> str:
    """Write a number with so many places; a hair under nothing is nothing, not -0.

    thousands : what stands between them.
    """
    return f"{round(value, places) + 0.0:{thousands}.{places}f}"


@dataclass(frozen=True)
class Measures:
    """How to write measures.

    units : imperial or metric. mill : whose height step and scale blade readings follow. currency : of amounts.
    """

    units: Units
    mill: Mill
    currency: str

    @property
    def is_metric(self) -> bool:
        """Whether lengths are in metres."""
        return self.units is Units.METRIC

    def reading(self, blade_height_m: float) -> str:
        """Write what the mill's scale shows with the blade at a height, without the unit.

        The blade height less `scale_zero`; in inches as a tape shows it, where the height step is a fraction
        of an inch down to 1/64, else with decimals; in metric in millimetres.
        """
        value_m = blade_height_m - self.mill.scale_zero_m
        return self._at_step(value_m, self.mill.height_step_m, self.mill.scale_zero_m)

    @property
    def reading_unit(self) -> str:
        """The unit of readings."""
        return "mm" if self.is_metric else "in"

    def thickness(self, thickness_m: float) -> str:
        """Write a green thickness without its unit, as exactly as the mill's step and kerf make it."""
        return self._at_step(thickness_m, self.mill.height_step_m, self.mill.kerf_m)

    def drop(self, drop_m: float) -> str:
        """Write how far the blade goes down between two cuts, without the unit, as exactly as the mill's step."""
        return self._at_step(drop_m, self.mill.height_step_m)

    def _at_step(self, value_m: float, *steps_m: float) -> str:
        if self.is_metric:
            value_mm = value_m * 1000.0
            return fixed(value_mm, 0 if all(_is_whole(step * 1000.0) for step in steps_m) else 1)
        for denominator in _DENOMINATORS:
            if all(_is_whole(step / INCH_M * denominator) for step in steps_m):
                return fraction_text(value_m / INCH_M, denominator)
        return f"{value_m / INCH_M:.3f}"

    def width(self, width_m: float) -> str:
        """Write a width without its unit: to half an inch, or whole millimetres."""
        return fixed(width_m * 1000.0, 0) if self.is_metric else fraction_text(width_m / INCH_M, 2)

    def whole_width(self, width_m: float) -> str:
        """Write a width without its unit, to the whole inch or millimetre."""
        return fixed(width_m * 1000.0, 0) if self.is_metric else fraction_text(width_m / INCH_M, 1)

    def short(self, length_m: float) -> str:
        """Write a short length with its unit: a shim, a diameter, a trim."""
        return f"{fixed(length_m * 1000.0, 0)} mm" if self.is_metric else inches_text(length_m, 8)

    def long(self, length_m: float) -> str:
        """Write a long length with its unit: to half an inch, or whole centimetres."""
        return f"{fixed(length_m, 2)} m" if self.is_metric else feet_text(length_m)

    def slab_length(self, length_m: float) -> str:
        """Write a slab's length with its unit: never more than it has, so rounded down."""
        if self.is_metric:
            return f"{floor(length_m * 100.0 + _WHOLE) / 100.0:.2f} m"
        return feet_text(floor(length_m / INCH_M + _WHOLE) * INCH_M)

    def mass(self, mass_kg: float) -> str:
        """Write a mass without its unit."""
        return fixed(mass_kg if self.is_metric else mass_kg / POUND_KG, 0, ",")

    def about_mass(self, mass_kg: float) -> str:
        """Write a mass that is only about known, with its unit: to 10 lb or 5 kg; nothing where that is none."""
        step = 5.0 if self.is_metric else 10.0
        whole = _half_up((mass_kg if self.is_metric else mass_kg / POUND_KG) / step) * step
        return f"{whole:,.0f} {self.mass_unit}" if whole else ""

    def mass_and_lift(self, mass_kg: float) -> str:
        """Write a mean mass and its lift mass, without the unit: `180/225`."""
        return f"{self.mass(mass_kg)}/{self.mass(lift_kg(mass_kg))}"

    @property
    def mass_unit(self) -> str:
        """The unit of masses."""
        return "kg" if self.is_metric else "lb"

    def volume(self, volume_m3: float) -> str:
        """Write a volume with its unit."""
        return f"{volume_m3:.2f} m3" if self.is_metric else f"{volume_m3 / FOOT_M**3:.1f} ft3"

    def area(self, area_m2: float) -> str:
        """Write an area: square inches, or square centimetres."""
        return f"{area_m2 * 1e4:.0f} cm2" if self.is_metric else f"{area_m2 / INCH_M**2:.0f} in2"

    def money(self, amount: float) -> str:
        """Write an amount in whole units of the currency: `$1,234`, `-$56`, `1,234 EUR`."""
        whole = _half_up(abs(amount))
        sign = "-" if amount < 0 and whole else ""
        if self.currency in _SIGNS:
            return f"{sign}{_SIGNS[self.currency]}{whole:,}"
        return f"{sign}{whole:,} {self.currency}"

    def amount(self, amount: float) -> str:
        """Write an amount for a column that names the currency: `$1,234`, `1,234`."""
        return self.money(amount).removesuffix(f" {self.currency}")

    @property
    def amount_unit(self) -> str:
        """What the column of such amounts is headed with: nothing where the sign stands before each."""
        return "" if self.currency in _SIGNS else self.currency

    def difference(self, amount: float) -> str:
        """Write a difference in money with its sign, for such a column: `+$120`."""
        shown = self.amount(amount)
        return shown if shown.startswith("-") else f"+{shown}"


_NO_MILL = Mill(throat_m=1.0, kerf_m=0.001, height_step_m=0.001)


def measures_in(units: Units, currency: str = "USD", mill: Mill | None = None) -> Measures:
    """Return how to write measures; without a mill, for all but readings of its scale."""
    return Measures(units, mill or _NO_MILL, currency)


def board_feet_text(board_feet: float) -> str:
    """Write board feet to the nearest half foot: `38.5`."""
    return f"{_half_up(board_feet * 2.0) / 2.0:,.1f}"


def turn_deg(roll_deg: float) -> int:
    """Return a roll to the whole degree, in [0, 360)."""
    return _half_up(roll_deg) % 360


def minutes_text(minutes: float) -> str:
    """Write a time: `45 min`, `2 h 5 min`."""
    hours, rest = divmod(_half_up(minutes), 60)
    return f"{hours} h {rest} min" if hours else f"{rest} min"
