"""Claims are kept, resolved and questioned here; the Ledger is the way in."""

from .ingest import IngestReport, Progress
from .judge import Correction
from .ledger import Ledger
from .lookup import StoreParts
from .register import ToldClaim
from .search import ClaimFilter, FoundClaims, FoundParts, LimitFilter
from .store import Store, StoreSettings, open_store

__all__ = [
    "ClaimFilter",
    "Correction",
    "FoundClaims",
    "FoundParts",
    "IngestReport",
    "Ledger",
    "LimitFilter",
    "Progress",
    "Store",
    "StoreParts",
    "StoreSettings",
    "ToldClaim",
    "open_store",
]
