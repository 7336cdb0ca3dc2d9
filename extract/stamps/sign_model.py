"""Level cuts → grids of signs, by the network that was trained on drawn photos of stamped codes (see ``training/``)."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from . import networks
from .grids import CLASSES, SignGrid

STEP_PX = 4
"""A time step of the grid is this wide on the cut."""
_LEAST_PADDING_PX = 48
"""So much nothing follows every cut, as in training: then a cut reads the same beside wider ones as alone."""
_WASTE = 1.3
"""Cuts are run together while the widest is at most so much wider than the narrowest."""


class SignModel:
    """The network as a reader of signs."""

    name = "cogledger"
    lightings = ("dark",)
    """It was trained on colours; a look without them tells little that is new."""

    def read(self, cuts: Sequence[np.ndarray]) -> list[SignGrid]:
        """Cuts of one height, RGB, any widths → a grid each; a step is four pixels of the cut's width."""
        grids: list[SignGrid | None] = [None] * len(cuts)
        for batch in _batches([cut.shape[1] for cut in cuts]):
            widest = max(cuts[index].shape[1] for index in batch) + _LEAST_PADDING_PX
            values = np.zeros((len(batch), 3, cuts[batch[0]].shape[0], widest), np.float32)
            for row, index in enumerate(batch):
                values[row, :, :, : cuts[index].shape[1]] = _as_input(cuts[index])
            shares = networks.run(networks.READER, values)
            for row, index in enumerate(batch):
                steps = max(1, -(-cuts[index].shape[1] // STEP_PX))
                grids[index] = SignGrid(np.ascontiguousarray(shares[row, :steps], np.float32))
        return [grid if grid is not None else SignGrid(np.zeros((0, CLASSES), np.float32)) for grid in grids]


def _batches(widths: Sequence[int]) -> list[list[int]]:
    """Cuts of like width together, so that little is padded."""
    batches: list[list[int]] = []
    for index in sorted(range(len(widths)), key=lambda i: widths[i]):
        if batches and len(batches[-1]) < 16 and widths[index] <= _WASTE * widths[batches[-1][0]]:
            batches[-1].append(index)
        else:
            batches.append([index])
    return batches


def _as_input(cut: np.ndarray) -> np.ndarray:
    """Each channel about its own mean, all by one spread."""
    values = cut.astype(np.float32).transpose(2, 0, 1) / 255
    values -= values.mean(axis=(1, 2), keepdims=True)
    return values / (float(np.sqrt(np.square(values).mean())) + 0.02)
