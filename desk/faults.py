"""Every way in which a command can end → its exit code, with one sentence and, where asked for, one JSON object."""

from __future__ import annotations

import logging
import os
import sys
from collections.abc import Sequence

import typer

from ..schema.errors import CallError, CogledgerError, Fault
from ..schema.reasons import Reason
from .output import complain, put_json, put_line

_LOG = logging.getLogger(__name__)
_FAILED, _BAD_CALL = 1, 2
_UsageError = typer.BadParameter.__bases__[0]


def run(app: typer.Typer, arguments: Sequence[str] | None = None) -> int:
    """Run a command; its exit code. Nothing that goes wrong escapes."""
    given = list(sys.argv[1:] if arguments is None else arguments)
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")  # pyright: ignore[reportAttributeAccessIssue]
    try:
        outcome = app(args=given or ["--help"], prog_name="cogledger", standalone_mode=False)
        sys.stdout.flush()
        if not given:
            return _BAD_CALL
        return outcome if isinstance(outcome, int) else 0
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except SystemExit:  # how the parser ends where the reader of a pipe is gone; it exits for nothing else here
        return 0
    except CogledgerError as error:
        return _tell(error.fault, error.exit_code, given)
    except (KeyboardInterrupt, typer.Abort):
        return _tell(Fault(Reason.BAD_CALL, "interrupted", advice="repeat the call to go on"), _FAILED, given)
    except Exception as error:
        if isinstance(error, _UsageError):
            return _tell(_usage_fault(error), _BAD_CALL, given)
        return _tell_surprise(error, given)


def _usage_fault(error: Exception) -> Fault:
    said = getattr(error, "format_message", lambda: str(error))().strip().rstrip(".")
    context = getattr(error, "ctx", None)
    path = getattr(context, "command_path", "cogledger")
    message = (said[:1].lower() + said[1:]) or "no command was given"
    return CallError(Reason.BAD_CALL, message, advice=f"see {path} --help").fault


def _tell_surprise(error: Exception, given: Sequence[str]) -> int:
    """A fault of cogledger itself: one sentence; where it arose only with ``--verbose``."""
    if "--verbose" in given:
        _LOG.exception("unexpected fault")
    message = f"cogledger itself failed ({type(error).__name__}: {error})"
    advice = "repeat the call as cogledger --verbose ... and report what it shows"
    return _tell(Fault(Reason.ENGINE_FAILED, message, advice=advice), _FAILED, given)


def _tell(fault: Fault, code: int, given: Sequence[str]) -> int:
    if "--json" in given:
        put_json({"error": fault.as_json()})
    elif "--jsonl" in given:
        put_line({"error": fault.as_json()})
    complain(fault.sentence())
    return code
