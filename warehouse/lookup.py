"""A code as written in a build, on a photo or in a search → the parts of the store that it can mean."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from ..schema.limits import PartKind
from ..schema.parts import code_key, family_key, maker_key, part_label, squash, variant_key
from ..schema.resolved import Part
from .near import find_near_codes
from .settled import find_families
from .store import Store

_BREAKS = re.compile(r"[\s\-_/,()]+")


@dataclass
class StoreParts:
    """The parts of a store, as answers need them. What was looked up is remembered for the life of the object."""

    store: Store
    _found: dict[str, tuple[Part, ...]] = field(default_factory=dict, repr=False)

    def find_parts(self, written: str, kind: PartKind | None = None) -> tuple[Part, ...]:
        """Every variant that ``written`` can mean; empty where nothing is known.

        ``"KX71"`` gives every variant of the code, ``"KX71 M"`` and ``"KX71-M"`` the one, and ``"Brambel KX71"`` those
        of that maker. Case, spaces and hyphens do not matter. A code that only looks like a known one is not known:
        see :meth:`near_codes`.
        """
        self.look_up([written])
        found = self._meant(written, kind)
        for maker, rest in _split_off_maker(written):
            if found:
                break
            self.look_up([rest])
            found = tuple(p for p in self._meant(rest, kind) if _begins(maker_key(p.maker), maker))
        return found

    def look_up(self, codes: Iterable[str]) -> None:
        """Fetch what several codes can mean at once, so that :meth:`find_parts` need not ask for each."""
        wanted = {code_key(code): code for code in codes}
        wanted = {key: code for key, code in wanted.items() if key and key not in self._found}
        if not wanted:
            return
        families = sorted({family for one in wanted.values() for family in families_of(one)})
        with self.store.reading() as connection:
            parts = find_families(connection, families)
        for key in wanted:
            self._found[key] = tuple(part for part in parts if key.startswith(code_key(part.code)))

    def _meant(self, written: str, kind: PartKind | None) -> tuple[Part, ...]:
        wanted = code_key(written)
        beginning = [p for p in self._found.get(wanted, ()) if kind is None or p.kind == kind]
        whole = tuple(p for p in beginning if code_key(p.code) == wanted)
        return whole or tuple(p for p in beginning if _names_variant(written, p))

    def near_codes(self, written: str, limit: int = 3) -> tuple[str, ...]:
        """Known codes that look like ``written``, nearest first; of a known code its variants."""
        with self.store.reading() as connection:
            return find_near_codes(connection, written, limit)

    def successors(self, written: str) -> tuple[Part, ...]:
        """The parts whose documents say that they replace ``written``."""
        with self.store.reading() as connection:
            found = connection.execute(
                "select distinct code_key from kept.parts where list_contains(replaces, ?)", [code_key(written)]
            ).fetchall()
        self.look_up([row[0] for row in found])
        parts = [part for row in found for part in self._found[row[0]] if code_key(part.code) == row[0]]
        return tuple(p for p in parts if any(code_key(r.value.text) == code_key(written) for r in p.limits["replaces"]))

    def codes(self) -> tuple[str, ...]:
        """Every code the store knows, alone and with each variant, as documents print it; none without a store."""
        if not self.store.exists():
            return ()
        with self.store.reading() as connection:
            rows = connection.execute(
                "select distinct part_kind, part_code, variant from kept.parts order by all"
            ).fetchall()
        return tuple(dict.fromkeys(label for _, code, variant in rows for label in (code, part_label(code, variant))))


def families_of(written: str) -> set[str]:
    """The families that can hold what ``written`` means: a code, or a code with a variant behind it or glued to it.

    >>> sorted(families_of("KX-71 medium cage")), families_of("KX71M")
    (['KX', 'KX71'], {'KX71'})
    """
    pieces = [piece for piece in _BREAKS.split(written) if piece]
    beginnings = {code_key("".join(pieces[:number])) for number in range(1, len(pieces) + 1)}
    bare = {re.sub(r"[^\W\d_]+$", "", key) for key in beginnings}
    return ({family_key(key) for key in beginnings} | bare) - {""}


def _split_off_maker(written: str) -> Iterator[tuple[str, str]]:
    """``"Brambel Works KX71"`` → each way to take words at its beginning for the maker, as compared, and the rest."""
    words = written.split()
    for number in range(1, len(words)):
        yield maker_key(" ".join(words[:number])), " ".join(words[number:])


def _begins(maker: str, written: str) -> bool:
    return bool(written) and maker.startswith(written)


def _names_variant(written: str, part: Part) -> bool:
    """Whether ``written`` is the part's code followed by its variant, however they are set apart."""
    code, variant = code_key(part.code), variant_key(part.variant)
    if not variant:
        return False
    pieces = [piece for piece in _BREAKS.split(written) if piece]
    ends = (" ".join(pieces[n:]) for n in range(1, len(pieces)) if code_key("".join(pieces[:n])) == code)
    glued = code_key(written)[len(code) :]
    return any(variant_key(end) == variant for end in ends) or (glued.isalpha() and variant_key(glued) == variant)


def fits_words(words: Iterable[str], names: Iterable[str]) -> bool:
    """Whether each word is the beginning of a name, or of a word in one; case, spaces and hyphens do not matter.

    >>> fits_words(["vx-2", "CAP"], ["VX 240", "total_capacity"])
    True
    >>> fits_words(["vx 9"], ["VX 240", "total_capacity"])
    False
    """
    beginnings = {squash(piece) for name in names for piece in (name, *_BREAKS.split(name))}
    return all(any(b.startswith(squash(word)) for b in beginnings) for word in words if squash(word))
