"""A set of slabs as it is typed."""

import pytest

from optimizer.problem import SetAsked
from service.typed.effort import Effort
from service.typed.errors import InputError
from service.typed.read_given import read_given
from service.typed.slab_set import set_of_text
from service.words.messages import COMMAND_LINE, said


@pytest.mark.parametrize("typed", ["4x8/4", " 4 X 8/4 ", "4 × 8 / 4"])
def test_a_set_is_so_many_of_a_thickness(typed):
    assert set_of_text(typed) == SetAsked(4, 8)
    assert read_given(Effort, set=typed).settings(1).asked == SetAsked(4, 8)
    assert Effort().settings(1).asked is None


@pytest.mark.parametrize(
    ("typed", "line"),
    [
        ("4", '--set must be how many slabs of which thickness, such as "4x8/4", got 4'),
        ("4x8", '--set must be how many slabs of which thickness, such as "4x8/4", got 4x8'),
        ("0x8/4", "--set must ask for 1 to 100 slabs, got 0"),
        ("101x8/4", "--set must ask for 1 to 100 slabs, got 101"),
        ("4x65/4", "--set must ask for 1 to 64 quarters, got 65"),
        ("-4x8/4", '--set must be how many slabs of which thickness, such as "4x8/4", got -4x8/4'),
    ],
)
def test_what_is_no_set_is_one_clear_line(typed, line):
    with pytest.raises(InputError) as refused:
        read_given(Effort, set=typed)

    assert said(refused.value, None, COMMAND_LINE).startswith(line)


def test_a_set_that_goes_on_for_ever_is_refused():
    with pytest.raises(InputError, match="at most 40"):
        read_given(Effort, set="4x8/4" * 100)
