"""How much a pack may hold and how far its dates may lie: the bounds beyond which a pack is refused."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta


@dataclass(frozen=True)
class PackSettings:
    """Bounds of a pack; sizes in bytes.

    ``most_ratio`` is how many times larger than in the zip an entry may become, where it is larger than
    ``ratio_from``. The ratio of deflated tables of numbers and words stays below 40 (measured), that of the longest
    run that deflate can pack is 1,032.
    """

    most_entries: int = 20_100
    most_pictures: int = 20_000
    most_bytes: int = 16 << 30
    most_ratio: int = 120
    ratio_from: int = 1 << 20
    most_descriptor_bytes: int = 16 << 20
    most_descriptor_depth: int = 12
    most_picture_bytes: int = 8 << 20
    most_picture_pixels: int = 24_000_000
    most_documents: int = 2_000_000
    most_claims: int = 20_000_000
    most_words: int = 2_000_000
    batch_rows: int = 50_000
    ahead: timedelta = timedelta(days=2)
    """How far another computer's clock may run ahead of this one's."""
    earliest: datetime = datetime(1900, 1, 1)

    def most_rows(self, table: str) -> int:
        """The most rows that a table of a pack may have."""
        return {"documents": self.most_documents, "claims": self.most_claims, "words": self.most_words}[table]
