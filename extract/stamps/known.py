"""The codes that a store holds, made ready for photos: by key, with variants, and found again from misread strings."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from rapidfuzz.distance import Levenshtein
from rapidfuzz.process import cdist

from ...schema.parts import code_key, lookalike_key
from .ctc import SIGNS
from .shapes import CodeShapes, learn_shapes

MOST_COMPARED = 5_000
"""Up to so many codes a misread string is compared with each; beyond, with those that share triples of signs."""
_FARTHEST = 4
_VARIANT_TOKEN = re.compile(r"^(?:[A-Z]|V\d|X[SL])$")
_SHARED = set(SIGNS)
_PAD = 0
_BASE = len(SIGNS) + 1


@dataclass(frozen=True, eq=False)
class KnownCodes:
    """Codes by key: as printed, and the variants that stood behind them. Made once per store by ``index_codes``."""

    printed: Mapping[str, str]
    variants: Mapping[str, frozenset[str]]

    @cached_property
    def keys(self) -> tuple[str, ...]:
        """All keys, in the order of the list they came from."""
        return tuple(self.printed)

    @cached_property
    def shapes(self) -> CodeShapes:
        """What these codes look like."""
        return learn_shapes(self.keys)

    def __len__(self) -> int:
        return len(self.printed)

    def __contains__(self, key: str) -> bool:
        return key in self.printed

    def nearest(self, strings: Sequence[str], most: int) -> list[str]:
        """The keys nearest to any of some strings, at most ``most`` for each, look-alike signs counting as equal."""
        folded = list(dict.fromkeys(lookalike_key(text) for text in strings if text))
        if not folded or not self.keys:
            return []
        if len(self.keys) <= MOST_COMPARED:
            return _nearest(folded, self._lookalikes, self.keys, most)
        found: dict[str, None] = {}
        for text in folded:
            chosen = self._triples.nearest(text, 40 * most)
            keys = [self.keys[n] for n in chosen]
            found.update(dict.fromkeys(_nearest([text], [lookalike_key(key) for key in keys], keys, most)))
        return list(found)

    @cached_property
    def _lookalikes(self) -> list[str]:
        return [lookalike_key(key) for key in self.keys]

    @cached_property
    def _triples(self) -> _Triples:
        return _Triples(self._lookalikes)

    def prepare(self) -> None:
        """Make what the first search would make, so that no photo waits for it."""
        _ = self.shapes
        _ = self._triples if len(self.keys) > MOST_COMPARED else self._lookalikes


def index_codes(codes: Iterable[str] | KnownCodes) -> KnownCodes:
    """Codes as printed, with or without a variant behind them (``"TWX240 M"``) → an index, kept for the last lists.

    Codes without letters and digits of the plain alphabet cannot be compared with what a stamp shows and are left out.
    """
    return codes if isinstance(codes, KnownCodes) else _index(tuple(codes))


@lru_cache(maxsize=2)
def _index(codes: tuple[str, ...]) -> KnownCodes:
    printed: dict[str, str] = {}
    variants: dict[str, set[str]] = {}
    for code in codes:
        head, variant = split_variant(code)
        key = code_key(head)
        if not key or not _SHARED.issuperset(key):
            continue
        printed.setdefault(key, head)
        if variant:
            variants.setdefault(key, set()).add(variant)
    return KnownCodes(printed, {key: frozenset(names) for key, names in variants.items()})


def split_variant(code: str) -> tuple[str, str | None]:
    """``"TWX240 M"`` → ("TWX240", "M"); a code without a variant, or with words behind it, as it is."""
    head, gap, tail = code.strip().rpartition(" ")
    tail = tail.upper()
    if gap and _VARIANT_TOKEN.match(tail) and any(sign.isdigit() for sign in head):
        return head.strip(), tail
    return code.strip(), None


def _nearest(texts: list[str], folded: list[str], keys: Sequence[str], most: int) -> list[str]:
    distances = cdist(texts, folded, scorer=Levenshtein.distance, score_cutoff=_FARTHEST, dtype=np.uint8)
    found: dict[str, None] = {}
    for row in distances:
        order = np.argsort(row, kind="stable")[:most]
        found.update(dict.fromkeys(keys[int(n)] for n in order if row[n] <= _FARTHEST))
    return list(found)


class _Triples:
    """Which keys hold each triple of neighbouring signs, ends of the key included."""

    def __init__(self, texts: Sequence[str]):
        self.count = len(texts)
        triples, owners = _triples_of(texts)
        order = np.argsort(triples, kind="stable")
        self.owners = owners[order]
        self.starts = np.searchsorted(triples[order], np.arange(_BASE**3 + 1)).astype(np.int64)

    def nearest(self, text: str, most: int) -> np.ndarray:
        """The places of at least some of the keys that share most triples with ``text``, about ``most``."""
        wanted = np.unique(_triples_of([text])[0])
        lists = [self.owners[self.starts[n] : self.starts[n + 1]] for n in wanted]
        shared = np.bincount(np.concatenate(lists), minlength=self.count) if lists else np.zeros(self.count, int)
        tally = np.bincount(shared)[::-1].cumsum()[::-1]
        least = next((n for n in range(1, len(tally)) if tally[n] <= most), len(tally) - 1)
        return np.flatnonzero(shared >= max(1, least))[:most]


def _triples_of(texts: Sequence[str]) -> tuple[np.ndarray, np.ndarray]:
    longest = max(map(len, texts), default=0)
    raw = np.array([text.encode() for text in texts], dtype=f"S{max(1, longest)}")
    signs = raw.view(np.uint8).reshape(len(texts), -1)
    table = np.zeros(256, np.uint8)
    for number, sign in enumerate(SIGNS, 1):
        table[ord(sign)] = number
    padded = np.pad(table[signs], ((0, 0), (2, 2)), constant_values=_PAD).astype(np.int32)
    triples = (padded[:, :-2] * _BASE + padded[:, 1:-1]) * _BASE + padded[:, 2:]
    real = triples > 0
    owners = np.broadcast_to(np.arange(len(texts), dtype=np.int32)[:, None], triples.shape)
    return triples[real], owners[real]
