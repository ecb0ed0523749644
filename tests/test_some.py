"""Of a long list of parameters the chosen ones lie apart evenly, the first among them."""

from __future__ import annotations

from itertools import pairwise

import pytest

from tests.support.some import is_of_some


@pytest.mark.parametrize(("count", "most"), [(58, 14), (10, 3), (5, 4), (100, 1), (3, 7), (1, 1)])
def test_as_many_as_asked_are_chosen_and_no_stretch_is_left_out(count: int, most: int) -> None:
    chosen = [number for number in range(count) if is_of_some(number, count, most)]
    assert len(chosen) == min(count, most)
    assert chosen[0] == 0
    assert all(later - earlier <= count // most + 1 for earlier, later in pairwise([*chosen, count]))
