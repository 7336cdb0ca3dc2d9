"""The options that several commands share."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

Store = Annotated[
    str | None,
    typer.Option(
        "--store", metavar="STORE",
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
