"""``python -m cogledger.extract FILE --stages DIR [--page N]``: what each stage of the reading makes of a file."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

from ..schema.errors import CogledgerError
from .sources import find_sources
from .stages import write_stages


def main(arguments: Sequence[str] | None = None) -> int:
    """Write the stages; 0 when all went well, 1 when a page or the file cannot be used, 2 for a wrong call."""
    parser = argparse.ArgumentParser(prog="python -m cogledger.extract", description=__doc__)
    parser.add_argument("file", type=Path, help="a PDF or a picture")
    parser.add_argument("--stages", type=Path, required=True, metavar="DIR", help="the folder to write to")
    parser.add_argument("--page", type=int, metavar="N", help="this page only, counted from 1")
    call = parser.parse_args(arguments)
    if call.file.is_dir():
        parser.error(f"{call.file} is a folder; name one file")
    sources, faults = find_sources([call.file])
    written: list[Path] = []
    try:
        if sources:
            written, failed = write_stages(sources[0], call.stages, call.page)
            faults = [*faults, *failed]
    except CogledgerError as error:
        print(error, file=sys.stderr)
        return error.exit_code
    except OSError as error:
        parser.error(f"{call.stages} cannot be written ({error.strerror}); name another folder")
    for fault in faults:
        print(fault.sentence(), file=sys.stderr)
    print(f"{len(written)} files in {call.stages}")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
