"""Samples drawn by many processes at once, handed over through shared memory."""

from __future__ import annotations

import multiprocessing as mp
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from multiprocessing import shared_memory
from pathlib import Path
from typing import Any

import numpy as np

Draw = Callable[[np.random.Generator, Sequence[Path]], list[dict[str, Any]]]
FONTS_EACH = 130
"""A process draws with so many of the fonts: it keeps what it has worked out about each."""


@dataclass(frozen=True)
class Field:
    """One array of a sample."""

    name: str
    shape: tuple[int, ...]
    kind: str

    def size(self, slots: int) -> int:
        """Bytes for a number of samples."""
        return int(np.prod(self.shape, dtype=np.int64)) * np.dtype(self.kind).itemsize * slots


class Feed:
    """Processes that call ``draw(rng)`` for ever; each call yields samples, dictionaries of arrays by field name."""

    def __init__(
        self, draw: Draw, fonts: Sequence[Path], fields: Sequence[Field], workers: int, seed: int, slots: int = 1024
    ) -> None:
        self._fields = tuple(fields)
        self._memory = [shared_memory.SharedMemory(create=True, size=field.size(slots)) for field in fields]
        self._arrays = _views(self._memory, self._fields, slots)
        context = mp.get_context("fork")
        self._free, self._full = context.SimpleQueue(), context.SimpleQueue()
        self._processes = [
            context.Process(target=self._work, args=(draw, fonts, seed, number), daemon=True)
            for number in range(workers)
        ]
        self._slots = slots
        for process in self._processes:
            process.start()
        for slot in range(slots):
            self._free.put(slot)

    def _work(self, draw: Draw, fonts: Sequence[Path], seed: int, number: int) -> None:
        import cv2

        cv2.setNumThreads(1)
        rng = np.random.default_rng((seed, number))
        own = [fonts[n] for n in rng.permutation(len(fonts))[:FONTS_EACH]]
        while True:
            for sample in draw(rng, own):
                slot = self._free.get()
                for field in self._fields:
                    self._arrays[field.name][slot] = sample[field.name]
                self._full.put(slot)

    def take(self, count: int) -> dict[str, np.ndarray]:
        """The next ``count`` samples, copied."""
        got = {field.name: np.empty((count, *field.shape), field.kind) for field in self._fields}
        for index in range(count):
            slot = self._full.get()
            for name, array in self._arrays.items():
                got[name][index] = array[slot]
            self._free.put(slot)
        return got

    def stop(self) -> None:
        """End the processes; the memory goes with the last one that still looks at it."""
        if not self._processes:
            return
        for process in self._processes:
            process.terminate()
        for process in self._processes:
            process.join()
        self._processes = []
        for memory in self._memory:
            memory.unlink()

    def close(self) -> None:
        """End the processes and give the memory back."""
        self.stop()
        self._arrays = {}
        for memory in self._memory:
            memory.close()


def _views(memory: Sequence[shared_memory.SharedMemory], fields: Sequence[Field], slots: int) -> dict[str, np.ndarray]:
    return {
        field.name: np.ndarray((slots, *field.shape), field.kind, each.buf)
        for field, each in zip(fields, memory, strict=True)
    }
