"""The Ledger: one short method for each thing that can be asked of a store."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..schema.errors import CogledgerError
from ..schema.limits import PartKind
from ..schema.resolved import Part
from . import exchange
from .asking import AnyBuild, BatchLine, answer_build, answer_builds
from .evidence import Evidence, StampEvidence, make_evidence
from .ingest import IngestReport, OnProgress, ingest
from .judge import Correction, confirm_claim, correct_claim, reject_claim
from .lookup import StoreParts
from .photos import StampReport, list_photos, read_stamps
from .query import ask_in_sql
from .register import ToldClaim
from .search import ClaimFilter, FoundClaims, FoundParts, LimitFilter, list_claims, list_limits
from .stamps import StampRow
from .store import StoreSettings, open_store

if TYPE_CHECKING:
    import pyarrow as pa

    from ..schema.answers import FitAnswer
    from .merge import MergeReport
    from .share import ShareReport


class Ledger:
    """A store and what can be asked of it.

    The store is the folder given, else the one in the environment variable ``COGLEDGER_STORE``, else ``./ledger``; or
    the catalogue of a team, ``ducklake:postgres:...``. It is made by the first ``read`` or ``merge``. Nothing stays
    open between calls, so several programs can share one store.

    >>> Ledger("my-ledger").name
    'my-ledger'
    """

    def __init__(self, store: Path | str | None = None, settings: StoreSettings | None = None) -> None:
        self._store = open_store(store, settings)

    @property
    def name(self) -> str:
        """The store as messages name it: its folder, or its catalogue."""
        return self._store.name

    def exists(self) -> bool:
        """Whether anything was ever written to the store."""
        return self._store.exists()

    def read(
        self,
        paths: Sequence[Path | str],
        workers: int | str | None = None,
        again: bool = False,
        on_progress: OnProgress | None = None,
    ) -> IngestReport:
        """Read PDFs, scans and photos, folders recursively: ``Ledger().read(["manuals"]).as_json()``.

        ``workers`` is a number of processes, or the address of a Dask cluster (``tcp://host:port``).
        """
        return ingest(self._store, [Path(path) for path in paths], workers, again, on_progress)

    def limits(
        self,
        words: Sequence[str] = (),
        kind: PartKind | str | None = None,
        limit: str | None = None,
        chosen: LimitFilter | None = None,
    ) -> FoundParts:
        """The limits table, one part and variant each: ``Ledger().limits(["KX71"], chosen=LimitFilter(sure=0.9))``."""
        return list_limits(self._store, words, kind, limit, chosen)

    def claims(self, words: Sequence[str] = (), chosen: ClaimFilter | None = None) -> FoundClaims:
        """Every claim that ``words`` fit: ``[c.as_json() for c in Ledger().claims(["KX71"])]``."""
        return list_claims(self._store, words, chosen)

    def query(self, sql: str, parameters: Sequence[Any] | Mapping[str, Any] = ()) -> pa.Table:
        """One ``select`` on the store's views as an Arrow table: ``Ledger().query("from parts").num_rows``."""
        return ask_in_sql(self._store, sql, parameters)

    def evidence(self, claim_id: str, out: Path | str) -> Evidence | StampEvidence:
        """Write the picture behind a claim, or a reading of a photo: ``Ledger().evidence(claim_id, "page.png")``."""
        return make_evidence(self._store, claim_id, Path(out))

    def confirm(self, claim_id: str, by: str | None = None, note: str | None = None) -> ToldClaim:
        """A person's word that a claim is right: ``Ledger().confirm(claim_id, note="seen on page 2")``."""
        return confirm_claim(self._store, claim_id, by, note)

    def correct(
        self,
        claim_id: str,
        correction: Correction,
        by: str | None = None,
        note: str | None = None,
        as_printed: bool = False,
    ) -> ToldClaim:
        """A person's word on what a claim should say: ``Ledger().correct(claim_id, Correction(high=37))``."""
        return correct_claim(self._store, claim_id, correction, by, note, as_printed)

    def reject(self, claim_id: str, by: str | None = None, note: str | None = None) -> ToldClaim:
        """A person's word that the document does not say so: ``Ledger().reject(claim_id)``."""
        return reject_claim(self._store, claim_id, by, note)

    def share(
        self,
        out: Path | str,
        shared_by: str | None = None,
        licence: str | None = None,
        words: Sequence[str] = (),
        kind: PartKind | str | None = None,
        documents: Sequence[str] = (),
        csv: bool = False,
        pictures: bool = False,
    ) -> ShareReport:
        """Write a pack for other people's stores: ``Ledger().share("ours.zip", "Ilka", "CC0-1.0").claims``."""
        return exchange.share(self._store, Path(out), shared_by, licence, words, kind, documents, csv, pictures)

    def merge(self, pack: Path | str) -> MergeReport:
        """Take somebody's pack in, all of it or nothing: ``Ledger().merge("theirs.zip").words_new``."""
        return exchange.merge(self._store, Path(pack))

    def stamp(self, photos: Sequence[Path | str], codes: Path | None = None, same_part: bool = False) -> StampReport:
        """Model code and tooth counts from photos: ``Ledger().stamp(["rear.jpg"]).as_json()``."""
        return read_stamps(self._store, [Path(photo) for photo in photos], codes, same_part)

    def photos(self, words: Sequence[str] = ()) -> list[StampRow]:
        """What the store keeps of photos of parts: ``[row.as_json() for row in Ledger().photos(["KX71"])]``."""
        return list_photos(self._store, words)

    def fit(self, build: AnyBuild) -> FitAnswer:
        """Does this build fit? ``Ledger().fit("hill-bike.toml").verdict``; takes a path, a mapping or a Build."""
        return answer_build(self._store, build)

    def fit_many(self, builds: Iterable[AnyBuild | BatchLine]) -> Iterator[FitAnswer | CogledgerError]:
        """An answer or an error for each of many builds, in their order."""
        return answer_builds(self._store, builds)

    def parts(self, code: str, kind: PartKind | None = None) -> tuple[Part, ...]:
        """Every variant that a code, or a code and a variant, can mean: ``Ledger().parts("KX71 M")``."""
        return StoreParts(self._store).find_parts(code, kind)

    def near_codes(self, code: str, limit: int = 3) -> tuple[str, ...]:
        """Known codes that look like ``code``, nearest first: ``Ledger().near_codes("KX7I")``."""
        return StoreParts(self._store).near_codes(code, limit)

    def successors(self, code: str) -> tuple[Part, ...]:
        """The parts whose documents say that they replace ``code``: ``Ledger().successors("KX71")``."""
        return StoreParts(self._store).successors(code)
