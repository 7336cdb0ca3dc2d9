"""The command ``cogledger``: arguments → one call of the Ledger each → exit code.

Exit code 0: done; 1: done, but some input could not be used; 2: the call itself is wrong; 3: the answer of ``fit`` is
not "fits".
"""

from __future__ import annotations

from importlib.metadata import version as version_of
from pathlib import Path
from typing import Annotated

import typer

from . import options as opt
from .faults import run
from .logs import start_logging
from .output import Shape, choose_shape, put_json, say

app = typer.Typer(
    name="cogledger", add_completion=False, no_args_is_help=True, rich_markup_mode=None,
    pretty_exceptions_enable=False,
    help="Turns manuals and photos of bicycle drivetrain parts into limits with sources, and says what fits.",
)  # fmt: skip

_DONE, _PARTLY, _NOT_FITTING = 0, 1, 3


def main() -> None:
    """Run the command with the arguments it was called with, and end the process with its exit code."""
    raise SystemExit(run(app))


def _end(code: int) -> None:
    if code:
        raise typer.Exit(code)


def _show_version(wanted: bool) -> None:
    if wanted:
        say(f"cogledger {version_of('cogledger')}")
        raise typer.Exit


@app.callback()
def start(
    verbose: Annotated[bool, typer.Option("--verbose", help="Log every step; show where a fault arose.")] = False,
    version: Annotated[
        bool, typer.Option("--version", is_eager=True, callback=_show_version, help="Show the version and end.")
    ] = False,
) -> None:
    """Turns manuals and photos of bicycle drivetrain parts into limits with sources, and says what fits."""
    start_logging(verbose)


@app.command()
def read(
    paths: Annotated[list[Path], typer.Argument(metavar="PATH...", help="PDFs, scans, photos, or folders of them.")],
    store: opt.Store = None,
    workers: Annotated[
        str | None,
        typer.Option(
            metavar="N|ADDRESS",
            help="Processes to read in, default all processors; or a Dask cluster, tcp://host:port.",
        ),
    ] = None,
    again: Annotated[bool, typer.Option("--again", help="Read also what is unchanged since last time.")] = False,
    as_json: opt.Json = False,
) -> None:
    """Read PDFs, scans and photos (folders recursively) into the store; unchanged files are skipped."""
    from ..warehouse import Ledger
    from .arguments import parse_workers
    from .printing import complain_of, print_report
    from .progress import showing_progress

    with showing_progress() as on_progress:
        report = Ledger(store).read(paths, parse_workers(workers), again, on_progress)
    if as_json:
        complain_of(report)
        put_json(report.as_json())
    else:
        print_report(report, store)
    _end(_DONE if report.complete else _PARTLY)


@app.command()
def limits(
    words: opt.Words = None,
    store: opt.Store = None,
    kind: opt.Kind = None,
    limit: opt.Limit = None,
    maker: opt.Maker = None,
    at_least: opt.AtLeast = None,
    at_most: opt.AtMost = None,
    takes: opt.Takes = None,
    says: opt.Says = None,
    sure: opt.Sure = None,
    state: opt.State = None,
    conflicts: opt.Conflicts = False,
    most: opt.Most = None,
    as_json: opt.Json = False,
    as_jsonl: opt.Jsonl = False,
    as_csv: opt.Csv = False,
    parquet: opt.Parquet = None,
) -> None:
    """Show the limits table: for each part and variant the best value of each limit, how sure, and from where."""
    from ..warehouse import Ledger, LimitFilter
    from .arguments import gather_values
    from .found import put_parts

    shape = choose_shape(json=as_json, jsonl=as_jsonl, csv=as_csv, parquet=parquet)
    values = gather_values(at_least, at_most, takes, says)
    chosen = LimitFilter(maker=maker, sure=sure, state=state, most=most, conflicts=conflicts, **values)
    ledger = Ledger(store)
    found = ledger.limits(words or (), kind, limit, chosen)
    put_parts(found, words or (), ledger, shape, parquet)


@app.command()
def claims(
    words: opt.Words = None,
    store: opt.Store = None,
    kind: opt.Kind = None,
    limit: opt.Limit = None,
    state: Annotated[str | None, typer.Option(metavar="STATE", help="Only claims in this state.")] = None,
    document: Annotated[str | None, typer.Option(metavar="NAME", help="Only claims of this document.")] = None,
    maker: opt.Maker = None,
    at_least: opt.AtLeast = None,
    at_most: opt.AtMost = None,
    takes: opt.Takes = None,
    says: opt.Says = None,
    sure: opt.Sure = None,
    most: opt.Most = None,
    as_json: opt.Json = False,
    as_jsonl: opt.Jsonl = False,
    as_csv: opt.Csv = False,
    parquet: opt.Parquet = None,
) -> None:
    """Show every claim: what one place in one document says, with its state and, where held back, the reasons."""
    from ..warehouse import ClaimFilter, Ledger
    from .arguments import gather_values
    from .found import put_claims

    shape = choose_shape(json=as_json, jsonl=as_jsonl, csv=as_csv, parquet=parquet)
    values = gather_values(at_least, at_most, takes, says)
    chosen = ClaimFilter(
        kind=kind, limit=limit, state=state, document=document, maker=maker, sure=sure, most=most, **values
    )
    put_claims(Ledger(store).claims(words or (), chosen), shape, parquet)


@app.command()
def evidence(
    asked: opt.EvidenceId,
    out: Annotated[Path, typer.Option("--out", metavar="FILE.png", help="Where to write the picture.")],
    store: opt.Store = None,
    as_json: opt.Json = False,
) -> None:
    """Write the picture behind a claim, the value framed on its page, or behind a photo's reading."""
    from ..warehouse import Ledger

    made = Ledger(store).evidence(asked, out)
    if as_json:
        put_json(made.as_json())
    else:
        say(str(made.out))


@app.command()
def confirm(
    claim_id: opt.ClaimId, store: opt.Store = None, by: opt.By = None, note: opt.Note = None, as_json: opt.Json = False
) -> None:
    """Say that a claim is right. Reading again never overrides it."""
    from ..warehouse import Ledger

    _show_judged(Ledger(store).confirm(claim_id, by, note), as_json)


@app.command()
def correct(
    claim_id: opt.ClaimId,
    low: Annotated[float | None, typer.Option(help="The lower bound, or the exact value.")] = None,
    high: Annotated[float | None, typer.Option(help="The upper bound, or the exact value.")] = None,
    values: Annotated[str | None, typer.Option(metavar='"11 13 15"', help="The list of numbers.")] = None,
    text: Annotated[str | None, typer.Option(help="The words.")] = None,
    code: Annotated[str | None, typer.Option(help="The model code that it speaks of.")] = None,
    variant: Annotated[str | None, typer.Option(help='The variant that it speaks of; "" for none.')] = None,
    as_printed: Annotated[
        bool, typer.Option("--as-printed", help="Take an unusual number, because the page does say so.")
    ] = False,
    store: opt.Store = None,
    by: opt.By = None,
    note: opt.Note = None,
    as_json: opt.Json = False,
) -> None:
    """Say what a claim should say. Reading again never overrides it."""
    from ..warehouse import Correction, Ledger
    from .arguments import parse_numbers

    correction = Correction(low, high, parse_numbers(values), text, code, variant)
    _show_judged(Ledger(store).correct(claim_id, correction, by, note, as_printed), as_json)


@app.command()
def reject(
    claim_id: opt.ClaimId, store: opt.Store = None, by: opt.By = None, note: opt.Note = None, as_json: opt.Json = False
) -> None:
    """Say that the document does not say so: the claim is kept but never used."""
    from ..warehouse import Ledger

    _show_judged(Ledger(store).reject(claim_id, by, note), as_json)


def _show_judged(told: object, as_json: bool) -> None:
    from ..warehouse import ToldClaim
    from .printing import print_judged

    assert isinstance(told, ToldClaim)
    if as_json:
        put_json(told.as_json())
    else:
        print_judged(told)


@app.command()
def share(
    out: Annotated[Path, typer.Argument(metavar="OUT", help="The pack: a folder, or one zip where it ends in .zip.")],
    words: Annotated[
        list[str] | None, typer.Argument(metavar="[WORDS]...", help="Only documents that speak of such parts.")
    ] = None,
    store: opt.Store = None,
    kind: opt.Kind = None,
    document: Annotated[
        list[str] | None, typer.Option(metavar="NAME", help="Only this document; can be given several times.")
    ] = None,
    shared_by: Annotated[
        str | None, typer.Option("--as", metavar="NAME", help="Who shares it; default your login name.")
    ] = None,
    licence: Annotated[
        str | None, typer.Option(metavar="ID", help="What others may do with it, by its SPDX id; default CC0-1.0.")
    ] = None,
    as_csv: Annotated[bool, typer.Option("--csv", help="Tables as CSV in the place of Parquet.")] = False,
    pictures: Annotated[bool, typer.Option("--pictures", help="Add the pictures of the places read from.")] = False,
    as_json: opt.Json = False,
) -> None:
    """Write what the store's documents say, and what people said of it, as a pack for other people's stores."""
    from ..warehouse import Ledger
    from .pack_text import print_shared

    report = Ledger(store).share(out, shared_by, licence, words or (), kind, document or (), as_csv, pictures)
    if as_json:
        put_json(report.as_json())
    else:
        print_shared(report)


@app.command()
def merge(
    pack: Annotated[Path, typer.Argument(metavar="PACK", help="A pack that somebody shared: a folder or a zip.")],
    store: opt.Store = None,
    as_json: opt.Json = False,
) -> None:
    """Take somebody's pack into the store, all of it or nothing. Words said in this store are never overwritten."""
    from ..warehouse import Ledger
    from .pack_text import print_merged

    report = Ledger(store).merge(pack)
    if as_json:
        put_json(report.as_json())
    else:
        print_merged(report, store)


@app.command()
def stamp(
    photos: Annotated[list[Path], typer.Argument(metavar="PHOTO...", help="Photos of stamped codes.")],
    store: opt.Store = None,
    codes: Annotated[Path | None, typer.Option(metavar="FILE", help="Further known codes, one a line.")] = None,
    same_part: Annotated[bool, typer.Option("--same-part", help="All photos show one part: one answer.")] = False,
    as_json: opt.Json = False,
) -> None:
    """Read model codes and tooth counts from photos."""
    from ..warehouse import Ledger
    from .output import complain
    from .stamp_text import print_stamps

    ledger = Ledger(store)
    report = ledger.stamp(photos, codes, same_part)
    if as_json:
        for fault in report.failures:
            complain(fault.sentence())
        put_json(report.as_json())
    else:
        print_stamps(report, ledger, store)
    _end(_PARTLY if report.failures else _DONE)


@app.command()
def photos(words: opt.Words = None, store: opt.Store = None, as_json: opt.Json = False) -> None:
    """Show what the store keeps of photos of parts: each with its code, how sure it is, and its id."""
    from ..warehouse import Ledger
    from .stamp_text import print_kept

    rows = Ledger(store).photos(words or ())
    if as_json:
        put_json({"photos": [row.as_json() for row in rows]})
    else:
        print_kept(rows)


@app.command()
def fit(
    builds: Annotated[list[Path] | None, typer.Argument(metavar="BUILD.toml...", help="Build files.")] = None,
    batch: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Many builds: JSON lines or Parquet with the same fields.")
    ] = None,
    store: opt.Store = None,
    as_json: opt.Json = False,
    as_jsonl: opt.Jsonl = False,
) -> None:
    """Does this build fit? Every check with its arithmetic, its sources and how sure they are."""
    from ..warehouse import Ledger
    from .answering import answer_all, answer_one
    from .arguments import gather_builds

    shape = choose_shape(json=as_json, jsonl=as_jsonl)
    asked = gather_builds(builds or [], batch)
    ledger = Ledger(store)
    if len(asked) == 1 and not batch and shape is not Shape.JSONL:
        _end(answer_one(ledger, asked[0], shape, store))
    else:
        _end(answer_all(ledger, asked, shape, store))


@app.command()
def demo(
    out: Annotated[Path, typer.Option(metavar="DIR", help="Where the demo's files and pictures go.")] = Path(
        "demo-output"
    ),
    store: Annotated[
        str | None, typer.Option(metavar="DIR", help="A folder for the demo's store; default demo-ledger beside DIR.")
    ] = None,
) -> None:
    """Run the whole job on the demo scenario that comes with cogledger."""
    from rich.console import Console

    from .demo import run_demo

    _end(run_demo(out, Console(highlight=False, soft_wrap=True), store))
