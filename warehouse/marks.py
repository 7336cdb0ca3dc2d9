"""What a document says → a mark that is equal for documents that say word for word the same."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable

MARKED = ("code_key", "variant_key", "limit_key", "low", "high", "values", "text", "condition", "snippet", "page")
"""The columns of a claim that its document's mark is made from."""


def make_mark(said: Iterable[str]) -> str | None:
    """The mark of a document, from the marked columns of each valid claim as JSON; ``None`` where there is none."""
    text = "\n".join(sorted(said))
    return hashlib.sha256(text.encode()).hexdigest()[:16] if text else None
