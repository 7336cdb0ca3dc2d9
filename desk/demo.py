"""The whole job on the scenario that comes with cogledger, through the same calls as anyone's."""

from __future__ import annotations

import os
import shlex
import shutil
from collections.abc import Iterable, Sequence
from pathlib import Path

from rich.console import Console
from rich.text import Text

from ..schema.answers import CheckResult, FitAnswer, Verdict
from ..schema.claims import State
from ..schema.errors import CallError, CogledgerError, StoreError
from ..schema.reasons import Reason
from ..warehouse import ClaimFilter, Ledger, ToldClaim
from ..warehouse.evidence import Evidence
from ..warehouse.photos import StampReport
from ..warehouse.store import LAKE_MARK
from .fit_text import print_fit
from .output import complain, screen_width
from .printing import print_claims, print_limits, print_report
from .progress import showing_progress
from .stamp_text import print_stamps
from .tables import lay_out, wrap

SCENARIO = Path(__file__).parent / "scenario"
STORE = "demo-ledger"
OUTPUT = "demo-output"
_WORST_FIRST = (Verdict.DOES_NOT_FIT, Verdict.CANNOT_TELL, Verdict.FITS)
_MARK = "made-by-cogledger-demo.txt"
_MARK_TEXT = "The demo makes this folder anew each time it runs. Keep nothing of your own here.\n"


def run_demo(out: Path | None, console: Console, store: str | None = None) -> int:
    """Run the scenario; files go to ``out`` (``./demo-output``), the store to ``store`` (``demo-ledger`` beside it).

    The store is made anew each time. Files in ``out`` that someone has changed are left as they are, and the answers
    are given from the scenario as shipped. Prints for people and returns the exit code: 0, or 1 where some input could
    not be used.

    :raises CallError: ``store`` is no folder
    :raises StoreError: the store's folder is there and is not the demo's, or nothing can be written
    """
    out = out or Path(OUTPUT)
    if store and store.startswith(LAKE_MARK):
        advice = "name a folder that is not there yet"
        raise CallError(Reason.BAD_CALL, "the demo makes its store anew, in a folder of its own", advice=advice)
    ledger = Ledger(_fresh_store(Path(store) if store else out.parent / STORE))
    _hand_out_scenario(out)
    _tell(console, "Ilka's touring bike has a Hollenfirth HX540 with the short cage, and an 11-28 cassette. Before the "
                   "pass she would like the 11-34. Ilka, the makers and their parts are invented.")  # fmt: skip

    _head(console, "1  Read the manuals")
    with showing_progress() as on_progress:
        report = ledger.read([SCENARIO / "manuals"], on_progress=on_progress)
    print_report(report, _shown(Path(ledger.name)))

    _head(console, "2  What the manuals say")
    print_limits(ledger.limits())

    _head(console, "3  Held back, and why")
    held = ledger.claims(chosen=ClaimFilter(state=State.HELD_BACK))
    print_claims(held)
    _explain_held_back(console, held)

    _head(console, "4  Codes stamped on the parts")
    stamps = ledger.stamp(sorted((SCENARIO / "photos").iterdir()))
    print_stamps(stamps, ledger, _shown(Path(ledger.name)))
    _show_stamp(console, ledger, stamps, out)

    _head(console, "5  Does it fit?")
    answers = _answer_builds(console, ledger)
    complete = report.complete and not stamps.failures and len(answers) == len(_builds())

    _head(console, "6  The number that decided")
    claim_id = _show_deciding_number(console, ledger, answers, out)

    _head(console, "Try next")
    for line in _next_steps(ledger, out, claim_id):
        console.print(Text(line), soft_wrap=True)
    return 0 if complete else 1


def _fresh_store(folder: Path) -> Path:
    """An empty folder for the demo's store; one that the demo did not make is never touched."""
    try:
        if folder.exists():
            if not (folder / _MARK).is_file():
                raise StoreError(
                    Reason.NOT_WRITABLE,
                    "the demo would make its store here, but the folder is not the demo's",
                    file=str(folder),
                    advice="rename it, or run the demo in another folder",
                )
            shutil.rmtree(folder)
        folder.mkdir(parents=True)
        (folder / _MARK).write_text(_MARK_TEXT, encoding="utf-8")
    except OSError as error:
        raise StoreError(Reason.NOT_WRITABLE, f"the demo cannot write here ({error.strerror})", file=str(folder),
                         advice="run the demo in a folder that you may write to") from error  # fmt: skip
    return folder


def _hand_out_scenario(out: Path) -> None:
    """Copy the scenario to ``out``, for the reader to look at and change; files that differ are left as they are."""
    for source in sorted(p for p in SCENARIO.rglob("*") if p.is_file()):
        target = out / source.relative_to(SCENARIO)
        try:
            if target.exists():
                if target.read_bytes() != source.read_bytes():
                    complain(f"{target}: changed since the last demo; left as it is, and not used here.")
                continue
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(source, target)
        except OSError as error:
            raise StoreError(Reason.NOT_WRITABLE, f"the demo cannot write here ({error.strerror})", file=str(target),
                             advice="name another folder with --out") from error  # fmt: skip


def _head(console: Console, text: str) -> None:
    console.print()
    console.print(Text(text, style="bold underline"))


def _tell(console: Console, text: str) -> None:
    for line in wrap(text, screen_width()):
        console.print(Text(line), soft_wrap=True)


def _explain_held_back(console: Console, held: Sequence[ToldClaim]) -> None:
    """What to do about each record that is held back."""
    for told in held:
        for reason in told.reasons:
            words = str(reason["reason"]).replace("_", " ")
            _tell(console, f"{told.claim_id}: {words} ({reason['value']}); {reason['advice']}.")
    if held:
        _tell(console, "Nothing of this is used for an answer, and nothing of it is lost.")


def _builds() -> list[Path]:
    return sorted((SCENARIO / "builds").glob("*.toml"))


def _answer_builds(console: Console, ledger: Ledger) -> list[FitAnswer]:
    """Every build's answer: the first one whole, the others with their checks a line each."""
    answers = []
    for path in _builds():
        console.print(Text(f"\n--- {path.name}"))
        try:
            answer = ledger.fit(path)
        except CogledgerError as error:
            complain(str(error))
            continue
        if answers:
            _print_brief(console, answer)
        else:
            print_fit(answer, _shown(Path(ledger.name)))
        answers.append(answer)
    return answers


def _print_brief(console: Console, answer: FitAnswer) -> None:
    """Verdict, variants, and each check with its arithmetic and sources on a line."""
    console.print(Text(f"{answer.name}: {_words(answer.verdict)}", style="bold"))
    for variant in answer.variants if len(answer.variants) > 1 else ():
        console.print(Text(f"  with {', '.join(variant.parts.values())}: {_words(variant.verdict)}"))
    rows = []
    for check in sorted(answer.checks, key=lambda c: _WORST_FIRST.index(c.verdict)):
        sources = dict.fromkeys(f"{s.document} p.{s.page}" if s.page else s.document for s in check.sources)
        working = check.working or check.ask or ""
        part = check.parts[0] if check.parts else ""
        rows.append((_words(check.verdict), check.check.replace("_", " "), part, working, ", ".join(sources)))
    for line in lay_out(("verdict", "check", "part", "working", "sources"), rows, screen_width()):
        console.print(Text(line), soft_wrap=True)
    for question in answer.questions[:1] if answer.verdict is Verdict.CANNOT_TELL else ():
        _tell(console, f"To find out first: {question}")


def _words(verdict: Verdict) -> str:
    return str(verdict).replace("_", " ")


def deciding_check(answers: Iterable[FitAnswer]) -> CheckResult | None:
    """The check by which the first build that does not fit misses most, among those that rest on a document."""
    for answer in answers:
        if answer.verdict is Verdict.DOES_NOT_FIT:
            missed = [c for c in answer.checks if c.verdict is Verdict.DOES_NOT_FIT and _claim_id(c)]
            return min(missed, key=lambda c: c.margin if c.margin is not None else 0.0, default=None)
    return None


def _claim_id(check: CheckResult) -> str | None:
    return next((source.claim_id for source in check.sources if source.claim_id), None)


def _show_deciding_number(console: Console, ledger: Ledger, answers: Sequence[FitAnswer], out: Path) -> str | None:
    """Write the picture of the number that made the first misfit one; returns its claim."""
    check = deciding_check(answers)
    claim_id = _claim_id(check) if check else None
    if check is None or claim_id is None:
        _tell(console, "No build failed by a number that a document states, so there is no picture to show.")
        return None
    picture = out / "evidence.png"
    try:
        evidence = ledger.evidence(claim_id, picture)
    except CogledgerError as error:
        complain(str(error))
        return claim_id
    assert isinstance(evidence, Evidence)
    claim = evidence.told.claim
    _tell(console, f"{check.working}: read in {claim.document}, page {claim.page}. The picture is {_shown(picture)}.")
    return claim_id


def _show_stamp(console: Console, ledger: Ledger, stamps: StampReport, out: Path) -> None:
    """Write the picture of the surest stamp."""
    kept = [reading for reading in stamps.photos if reading.reading_id and reading.code]
    if not kept:
        return
    best = max(kept, key=lambda reading: reading.confidence)
    picture = out / "stamp.png"
    try:
        ledger.evidence(best.reading_id or "", picture)
    except CogledgerError as error:
        complain(str(error))
        return
    _tell(console, f"The stamp on {best.file}, level and with its contrast raised: {_shown(picture)}.")


def _next_steps(ledger: Ledger, out: Path, claim_id: str | None) -> list[str]:
    """Commands that work when pasted, each under what it does."""
    store = shlex.quote(_shown(Path(ledger.name)))
    builds, photos = out / "builds", out / "photos"
    steps = [
        ("the whole limits table, or some of it", f"cogledger limits --store {store} HX540"),
        ("the wish that fits", f"cogledger fit --store {store} {_quoted(builds / '2-wish-fits.toml')}"),
        ("name the cage in this build file and ask again",
         f"cogledger fit --store {store} {_quoted(builds / '3-which-cage.toml')}"),
        ("what a photo says", f"cogledger stamp --store {store} {_quoted(photos / 'cassette.jpg')}"),
        ("what all photos say that were read", f"cogledger photos --store {store}"),
        ("a build that starts from two photos",
         f"cogledger fit --store {store} {_quoted(builds / '6-from-photos.toml')}"),
    ]  # fmt: skip
    if claim_id:
        steps.append(
            ("say that you have looked and the number is right", f"cogledger confirm --store {store} {claim_id}")
        )
    steps.append(("your own manuals, into a store of your own", "cogledger read FOLDER-WITH-YOUR-MANUALS"))
    return [line for what, command in steps for line in (f"# {what}", f"  {command}")]


def _quoted(path: Path) -> str:
    return shlex.quote(_shown(path))


def _shown(path: Path) -> str:
    """A path as short as it can be typed from here."""
    try:
        return os.path.relpath(path) if path.resolve().is_relative_to(Path.cwd()) else str(path)
    except OSError:
        return str(path)
