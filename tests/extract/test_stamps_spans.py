"""Where codes may begin and end on a grid of signs."""

import numpy as np
import pytest
from cogledger.extract.stamps.ctc import find_placed
from cogledger.extract.stamps.grids import BLANK, CLASSES, as_grid, class_of
from cogledger.extract.stamps.spans import Glance


def glance_of(text: str, space_at: int) -> Glance:
    """Every sign sure on one step, two blank steps after it; the blank space's own steps begin ``space_at`` later."""
    shares = np.full((3 * len(text) + 6, CLASSES), 1e-6)
    shares[:, BLANK] = 1.0
    for place, sign in enumerate(text):
        at = 3 * place + (space_at if sign == " " else 0) + (3 if " " in text[:place] else 0)
        for step in range(at, at + (3 if sign == " " else 1)):
            shares[step, BLANK], shares[step, class_of(sign)] = 1e-6, 1.0
    return Glance(as_grid(shares))


@pytest.mark.parametrize("space_at", [0, 1, 2, 3])
def test_a_code_before_a_blank_space_is_explained_whole_wherever_the_reader_puts_the_space(space_at):
    glance = glance_of("QV417 M", space_at)
    assert [word.text for word in glance.words] == ["QV417", "M"]
    doors, junk = glance.doors(4.0), glance.junk_before(3.9)
    placed, _ = find_placed(glance.folded, ["QV417", "QV41", "M"], doors - junk, doors + junk)
    assert placed[0] == pytest.approx(5 * 3.9, abs=0.3)
    assert placed[1] == pytest.approx(4 * 3.9 - 4.0, abs=0.3)
    assert placed[2] == pytest.approx(3.9, abs=0.3)
