"""The one way in which a pack is refused: the pack, the file in it, the row, the field, and what is wrong."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NoReturn

from ...schema.errors import DocumentError
from ...schema.reasons import Reason


@dataclass(frozen=True)
class Place:
    """A place in a pack; ``row`` is the table's row from 1, its head line not counted."""

    pack: str
    file: str | None = None
    row: int | None = None
    field: str | None = None

    def refuse(self, message: str) -> NoReturn:
        """Refuse the whole pack.

        :raises DocumentError: always, with the reason ``bad_pack``
        """
        where = [self.file, f"row {self.row}" if self.row is not None else None, self.field]
        told = ", ".join(part for part in where if part)
        raise DocumentError(Reason.BAD_PACK, message, file=self.pack, where=told or None)


def shown(value: object, most: int = 60) -> str:
    """A value of a pack as a message may show it: in quotes, signs that cannot be seen written out, cut short."""
    text = ascii(str(value)[: most + 1])[1:-1]
    return f'"{text[:most]}…"' if len(text) > most else f'"{text}"'
