"""A code as written in a build, on a photo or in a search → the parts of the store that it can mean."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

from rapidfuzz import fuzz, process

from ..schema.limits import PartKind
from ..schema.parts import code_key, lookalike_key, part_label, squash, variant_key
from ..schema.resolved import Part
from .settled import find_settled
from .store import Store, rows_of

_BREAKS = re.compile(r"[\s\-_/,()]+")
_NEAR_ENOUGH = 70.0
"""Least likeness, in per cent, of a code that is offered as meant."""


@dataclass(frozen=True)
class PartHead:
    """A part without its limits' values: what a search looks at."""

    kind: str
    code: str
    variant: str | None
    maker: str | None
    limits: tuple[str, ...]


@dataclass
class StoreParts:
    """The parts of a store, as answers need them. What was looked up is remembered for the life of the object."""

    store: Store
    _found: dict[str, tuple[Part, ...]] = field(default_factory=dict, repr=False)
    _heads: tuple[PartHead, ...] | None = field(default=None, repr=False)

    def find_parts(self, written: str, kind: PartKind | None = None) -> tuple[Part, ...]:
        """Every variant that ``written`` can mean; empty where nothing is known.

        ``"KX71"`` gives every variant of the code, ``"KX71 M"`` and ``"KX71-M"`` the one. Case, spaces and hyphens do
        not matter. A code that only looks like a known one is not known: see :meth:`near_codes`.
        """
        wanted = code_key(written)
        if wanted and wanted not in self._found:
            with self.store.reading() as connection:
                parts = find_settled(connection, "starts_with(?, code_key)", [wanted])
            self._found[wanted] = tuple(parts)
        beginning = [p for p in self._found.get(wanted, ()) if kind is None or p.kind == kind]
        whole = tuple(p for p in beginning if code_key(p.code) == wanted)
        return whole or tuple(p for p in beginning if _names_variant(written, p))

    def near_codes(self, written: str, limit: int = 3) -> tuple[str, ...]:
        """Known codes that look like ``written``, nearest first; of a known code its variants."""
        wanted = code_key(written)
        heads = self.heads()
        kin = [part_label(h.code, h.variant) for h in heads if h.variant and _only_variant_differs(wanted, h.code)]
        if kin:
            return tuple(dict.fromkeys(kin))[:limit]
        codes = list(dict.fromkeys(h.code for h in heads))
        alike = [code for code in codes if lookalike_key(code) == lookalike_key(written)]
        scored = process.extract(wanted, codes, processor=squash, scorer=fuzz.ratio, limit=limit + len(alike),
                                 score_cutoff=_NEAR_ENOUGH)  # fmt: skip
        near = dict.fromkeys([*alike, *(code for code, *_ in scored)])
        return tuple(code for code in near if code_key(code) != wanted)[:limit]

    def successors(self, written: str) -> tuple[Part, ...]:
        """The parts whose documents say that they replace ``written``."""
        wanted = code_key(written)
        with self.store.reading() as connection:
            parts = find_settled(connection, "limit_key = 'replaces'")
        return tuple(p for p in parts if any(code_key(r.value.text) == wanted for r in p.limits.get("replaces", ())))

    def codes(self) -> tuple[str, ...]:
        """Every code the store knows, alone and with each variant, as documents print it; none without a store."""
        if not self.store.exists():
            return ()
        heads = self.heads()
        return tuple(dict.fromkeys(label for h in heads for label in (h.code, part_label(h.code, h.variant))))

    def heads(self) -> tuple[PartHead, ...]:
        """Every part of the store, without values."""
        if self._heads is None:
            sql = """
                select part_kind as kind, part_code as code, variant, maker, list(distinct limit_key) as limits
                from kept.limits group by all order by kind, code, variant
            """
            with self.store.reading() as connection:
                rows = rows_of(connection, sql)
            self._heads = tuple(
                PartHead(row["kind"], row["code"], row["variant"], row["maker"], tuple(row["limits"])) for row in rows
            )
        return self._heads

    def search(self, words: Sequence[str], kind: str | None = None, limit: str | None = None) -> tuple[Part, ...]:
        """The parts that every word fits, in any order: beginnings of code, maker, kind, variant or limit."""
        found = {
            (h.kind, code_key(h.code), variant_key(h.variant))
            for h in self.heads()
            if kind in (None, h.kind) and (limit is None or limit in h.limits) and fits_words(words, _named(h))
        }
        keys = sorted({code for _, code, _ in found})
        with self.store.reading() as connection:
            parts = find_settled(connection, "code_key in (select unnest(?::varchar[]))", [keys])
        chosen = [p for p in parts if (str(p.kind), code_key(p.code), variant_key(p.variant)) in found]
        return tuple(_only(part, limit) for part in chosen)


def _only(part: Part, limit: str | None) -> Part:
    if limit is None:
        return part
    return Part(part.kind, part.code, part.variant, part.maker, {limit: part.limits[limit]})


def _only_variant_differs(wanted: str, code: str) -> bool:
    key = code_key(code)
    return wanted == key or (wanted.startswith(key) and wanted[len(key) :].isalpha())


def _names_variant(written: str, part: Part) -> bool:
    """Whether ``written`` is the part's code followed by its variant, however they are set apart."""
    code, variant = code_key(part.code), variant_key(part.variant)
    if not variant:
        return False
    pieces = [piece for piece in _BREAKS.split(written) if piece]
    ends = (" ".join(pieces[n:]) for n in range(1, len(pieces)) if code_key("".join(pieces[:n])) == code)
    glued = code_key(written)[len(code) :]
    return any(variant_key(end) == variant for end in ends) or (glued.isalpha() and variant_key(glued) == variant)


def _named(head: PartHead) -> Iterator[str]:
    yield from (head.code, head.maker or "", head.variant or "", head.kind, part_label(head.code, head.variant))
    yield from head.limits


def fits_words(words: Iterable[str], names: Iterable[str]) -> bool:
    """Whether each word is the beginning of a name, or of a word in one; case, spaces and hyphens do not matter.

    >>> fits_words(["vx-2", "CAP"], ["VX 240", "total_capacity"])
    True
    >>> fits_words(["vx 9"], ["VX 240", "total_capacity"])
    False
    """
    beginnings = {squash(piece) for name in names for piece in (name, *_BREAKS.split(name))}
    return all(any(b.startswith(squash(word)) for b in beginnings) for word in words if squash(word))
