"""The exceptions of cogledger, by who can mend them.

    CogledgerError
    ├── CallError            the call or its input files are wrong          exit code 2
    │   └── BuildError       a build file, with every fault in it
    ├── DocumentError        a document or photo cannot be used             exit code 1
    ├── InstallationError    a program or data file is missing              exit code 1
    └── StoreError           the store cannot be opened, read or written    exit code 1

Every one carries a reason that programs match, one sentence for people, and what to do.
"""

from __future__ import annotations

from dataclasses import dataclass

from .reasons import Reason, advice_for


@dataclass(frozen=True)
class Fault:
    """One thing that is wrong, in the shape that every ``--json`` error has."""

    reason: Reason
    message: str
    file: str | None = None
    where: str | None = None
    advice: str | None = None

    def as_json(self) -> dict[str, str | None]:
        """The object that stands under ``error`` in JSON answers."""
        return {
            "reason": str(self.reason),
            "message": self.message,
            "file": self.file,
            "where": self.where,
            "advice": self.advice or advice_for(self.reason),
        }

    def sentence(self) -> str:
        """One line for people: file and place, what is wrong, what to do."""
        place = ", ".join(part for part in (self.file, self.where) if part)
        head = f"{place}: " if place else ""
        return f"{head}{self.message}; {self.advice or advice_for(self.reason)}."


class CogledgerError(Exception):
    """Base of every error that cogledger raises on purpose."""

    exit_code = 1

    def __init__(
        self,
        reason: Reason,
        message: str,
        *,
        file: str | None = None,
        where: str | None = None,
        advice: str | None = None,
    ) -> None:
        super().__init__(message)
        self.fault = Fault(reason, message, file, where, advice)

    def __reduce__(self) -> tuple[object, ...]:
        """Pickle with all fields, so that worker processes can hand errors back."""
        return (_revive, (type(self), self.fault))

    def __str__(self) -> str:
        """The whole sentence."""
        return self.fault.sentence()


def _revive(kind: type[CogledgerError], fault: Fault) -> CogledgerError:
    return kind(fault.reason, fault.message, file=fault.file, where=fault.where, advice=fault.advice)


class CallError(CogledgerError):
    """The call itself, or a file that the caller wrote, is wrong."""

    exit_code = 2


class BuildError(CallError):
    """A build file cannot be used; ``faults`` lists everything that is wrong with it."""

    def __init__(
        self,
        reason: Reason,
        message: str,
        *,
        file: str | None = None,
        where: str | None = None,
        advice: str | None = None,
        faults: tuple[Fault, ...] = (),
    ) -> None:
        super().__init__(reason, message, file=file, where=where, advice=advice)
        self.faults = faults or (self.fault,)

    def __reduce__(self) -> tuple[object, ...]:
        """Pickle with every fault."""
        return (_revive_build, (self.fault, self.faults))


def _revive_build(fault: Fault, faults: tuple[Fault, ...]) -> BuildError:
    return BuildError(
        fault.reason, fault.message, file=fault.file, where=fault.where, advice=fault.advice, faults=faults
    )


class DocumentError(CogledgerError):
    """A document, page or photo cannot be used."""


class InstallationError(CogledgerError):
    """A program or data file that cogledger needs is missing."""


class StoreError(CogledgerError):
    """The store cannot be opened, read or written."""
