import pytest

from optimizer.wood.moisture import shrinkage_pct


def test_fiber_saturation_of_a_species_may_be_given():
    assert shrinkage_pct(6.0, 11, fiber_saturation_pct=22) == pytest.approx(3.0)
    assert shrinkage_pct(6.0, 25, fiber_saturation_pct=22) == 0.0


@pytest.mark.parametrize(
    ("call", "line"),
    [
        (lambda: shrinkage_pct(-1, 8), r"total_pct must lie in \[0, 100\), got -1"),
        (lambda: shrinkage_pct(100, 8), "total_pct"),
        (lambda: shrinkage_pct(8, -2), "moisture_pct must be at least 0, got -2"),
    ],
)
def test_refuses(call, line):
    with pytest.raises(ValueError, match=line):
        call()
