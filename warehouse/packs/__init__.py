"""Packs: how parts data travels between stores, as a Frictionless Data Package of Parquet or CSV tables."""

from .about import PackAbout
from .fields import CLAIMS, DOCUMENTS, TABLES, WORDS
from .reading import ClaimBatch, Pack, PackCounts, open_pack
from .settings import PackSettings
from .writing import write_pack

__all__ = [
    "CLAIMS",
    "DOCUMENTS",
    "TABLES",
    "WORDS",
    "ClaimBatch",
    "Pack",
    "PackAbout",
    "PackCounts",
    "PackSettings",
    "open_pack",
    "write_pack",
]
