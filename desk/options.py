"""The options that several commands share."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

Store = Annotated[
    str | None,
    typer.Option(
        "--store",
        metavar="STORE",
        help="The store: a folder, or ducklake:postgres:... for a team; default $COGLEDGER_STORE, else ./ledger.",
    ),
]
Json = Annotated[bool, typer.Option("--json", help="Answer with one JSON document.")]
Jsonl = Annotated[bool, typer.Option("--jsonl", help="Answer with one JSON object a line.")]
Csv = Annotated[bool, typer.Option("--csv", help="Answer with CSV.")]
Parquet = Annotated[Path | None, typer.Option("--parquet", metavar="FILE", help="Write the answer as Parquet.")]
Words = Annotated[list[str] | None, typer.Argument(metavar="[WORDS]...", help="Words to look for, in any order.")]
Kind = Annotated[str | None, typer.Option("--kind", metavar="KIND", help="Only parts of this kind.")]
Limit = Annotated[str | None, typer.Option("--limit", metavar="KEY", help="Only this limit.")]
ClaimId = Annotated[str, typer.Argument(metavar="CLAIM_ID", help="The claim's id, or how it begins.")]
EvidenceId = Annotated[
    str, typer.Argument(metavar="ID", help="The id of a claim, or of a reading of a photo, or how it begins.")
]
By = Annotated[str | None, typer.Option("--by", metavar="NAME", help="Who says so; default your login name.")]
Note = Annotated[str | None, typer.Option("--note", metavar="TEXT", help="Why.")]
Maker = Annotated[
    str | None, typer.Option("--maker", metavar="NAME", help="Only of this maker, or of one that begins so.")
]
AtLeast = Annotated[
    list[str] | None,
    typer.Option("--at-least", metavar="KEY=N", help="The limit's greatest number is N or more: largest_cog=32."),
]
AtMost = Annotated[
    list[str] | None,
    typer.Option("--at-most", metavar="KEY=N", help="The limit's least number is N or less: smallest_cog=11."),
]
Takes = Annotated[
    list[str] | None,
    typer.Option("--takes", metavar="KEY=N", help="N lies within the limit's bounds, or is one of its numbers."),
]
Says = Annotated[
    list[str] | None, typer.Option("--says", metavar="KEY=WORDS", help="The limit's text has these words in it.")
]
Sure = Annotated[float | None, typer.Option("--sure", metavar="N", help="Only what is at least this sure, 0 to 1.")]
State = Annotated[str | None, typer.Option("--state", metavar="STATE", help="Only what rests on claims in this state.")]
Conflicts = Annotated[bool, typer.Option("--conflicts", help="Only limits on which documents disagree.")]
Most = Annotated[
    int | None, typer.Option("--most", metavar="N", help="At most so many; how many more there are is told.")
]
