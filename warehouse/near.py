"""A code as somebody typed or read it → the known codes that it may stand for."""

from __future__ import annotations

from rapidfuzz import fuzz, process

from ..schema.parts import code_key, lookalike_key, part_label, squash
from .store import Connection

_NEAR_ENOUGH = 70.0
"""Least likeness, in per cent, of a code that is offered as meant."""


def find_near_codes(connection: Connection, written: str, limit: int = 3) -> tuple[str, ...]:
    """Known codes that look like ``written``, nearest first; of a known code its variants."""
    wanted = code_key(written)
    heads = connection.execute("select part_code, variant from kept.parts order by part_kind, part_code").fetchall()
    kin = [part_label(code, variant) for code, variant in heads if variant and _only_variant_differs(wanted, code)]
    if kin:
        return tuple(dict.fromkeys(kin))[:limit]
    codes = list(dict.fromkeys(code for code, _ in heads))
    alike = [code for code in codes if lookalike_key(code) == lookalike_key(written)]
    scored = process.extract(wanted, codes, processor=squash, scorer=fuzz.ratio, limit=limit + len(alike),
                             score_cutoff=_NEAR_ENOUGH)  # fmt: skip
    near = dict.fromkeys([*alike, *(code for code, *_ in scored)])
    return tuple(code for code in near if code_key(code) != wanted)[:limit]


def _only_variant_differs(wanted: str, code: str) -> bool:
    key = code_key(code)
    return wanted == key or (wanted.startswith(key) and wanted[len(key) :].isalpha())
