import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from scans.tape.curves import through_stations


@given(
    st.lists(st.tuples(st.floats(0.01, 5.0), st.floats(0.05, 2.5)), min_size=2, max_size=9),
)
def test_it_meets_every_station_and_stays_between_neighbours(steps):
    at = np.cumsum([step for step, _ in steps])
    values = np.array([value for _, value in steps])
    np.testing.assert_allclose(through_stations(at, values, at), values, rtol=1e-9)
    for left in range(len(at) - 1):
        between = through_stations(at, values, np.linspace(at[left], at[left + 1], 50))
        low, high = sorted(values[left : left + 2])
        assert between.min() >= low - 1e-9
        assert between.max() <= high + 1e-9


def test_a_straight_taper_stays_straight_and_goes_on_straight():
    at = np.array([0.0, 0.7, 1.0, 3.0])
    wanted = np.linspace(-0.05, 3.1, 40)
    np.testing.assert_allclose(through_stations(at, 0.5 - 0.06 * at, wanted), 0.5 - 0.06 * wanted, atol=1e-12)


def test_a_gentle_parabola_is_met_in_full_between_even_stations():
    # Catmull-Rom slopes are those of the parabola through three neighbours, so a parabola comes back.
    at = np.array([0.0, 1.0, 2.0, 3.0, 4.0])
    parabola = lambda x: 0.6 - 0.1 * x + 0.008 * x**2  # noqa: E731
    wanted = np.linspace(0.0, 4.0, 81)
    np.testing.assert_allclose(through_stations(at, parabola(at), wanted), parabola(wanted), atol=1e-12)


def test_one_station_is_a_constant():
    np.testing.assert_array_equal(through_stations(np.array([1.0]), np.array([0.4]), np.array([0.0, 5.0])), [0.4, 0.4])
