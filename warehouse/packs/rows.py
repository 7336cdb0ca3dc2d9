"""Rows of a pack's tables, a batch at a time: what every field must be, the order of rows, and what they refer to."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime

import numpy as np
import pyarrow as pa

from ..claim_rows import dump
from .compute import pc
from .descriptor import parse_strict_json
from .fields import Field, TableFields
from .refusing import Place, shown
from .settings import PackSettings
from .texts import find_bad_text, object_to_text, texts_in


@dataclass
class RowChecker:
    """Checks the batches of one table one after the other; ``row`` is how many rows were checked."""

    table: TableFields
    place: Place
    settings: PackSettings
    row: int = 0
    _last: tuple[object, ...] | None = None
    _conditions: dict[str, str] = field(default_factory=dict)

    def check(self, batch: pa.RecordBatch) -> pa.RecordBatch:
        """The batch as it may be used: missing texts are null, conditions have their keys in order.

        :raises DocumentError: a row that no pack may hold
        """
        columns = {f.name: self._check_field(f, batch.column(f.name)) for f in self.table.fields}
        told = pa.record_batch(list(columns.values()), schema=self.table.arrow)
        self._check_order(told)
        if self.row + batch.num_rows > self.settings.most_rows(self.table.name):
            self.place.refuse(f"it has more than {self.settings.most_rows(self.table.name):,} rows")
        return told

    def count(self, batch: pa.RecordBatch) -> None:
        """Count a batch as checked: the next one's rows come after it."""
        self.row += batch.num_rows

    def refuse(self, at: int, name: str, message: str) -> None:
        """Refuse row ``at`` of the present batch."""
        Place(self.place.pack, self.place.file, self.row + at + 1, name).refuse(message)

    def _check_field(self, rule: Field, column: pa.Array) -> pa.Array:
        text = pa.types.is_string(rule.arrow)
        if text and rule.nullable:
            column = pc.if_else(pc.equal(column, ""), None, column)
        if not rule.nullable and column.null_count:
            self.refuse(_first(pc.is_null(column)), rule.name, "it is missing")
        if text:
            column = self._check_texts(rule, column)
        elif rule.kind == "datetime":
            self._check_times(rule, column)
        elif rule.kind == "array":
            self._check_lists(rule, column)
        else:
            self._check_numbers(rule, column)
        return column

    def _check_texts(self, rule: Field, column: pa.Array) -> pa.Array:
        lengths = pc.utf8_length(column)
        if rule.longest is not None and (at := _first(pc.greater(lengths, rule.longest))) >= 0:
            self.refuse(at, rule.name, f"the text is longer than {rule.longest:,} signs")
        if not rule.blank and (at := _first(pc.equal(lengths, 0))) >= 0:
            self.refuse(at, rule.name, "it is empty")
        if bad := find_bad_text(column):
            self.refuse(bad[0], rule.name, f"the text {bad[1]}")
        if rule.pattern and (at := _first(pc.invert(pc.match_substring_regex(column, rule.pattern)))) >= 0:
            self.refuse(at, rule.name, f"{shown(column[at].as_py())} is not of the form {rule.pattern}")
        if rule.choices:
            known = pc.is_in(column, pa.array(rule.choices))
            if (at := _first(pc.invert(known))) >= 0:
                self.refuse(at, rule.name, f"{shown(column[at].as_py())} is none of {', '.join(rule.choices)}")
        return self._check_conditions(rule, column) if rule.name == "condition" else column

    def _check_conditions(self, rule: Field, column: pa.Array) -> pa.Array:
        """Conditions as JSON with sorted keys; few differ among many."""
        coded = column.dictionary_encode()
        spelled = []
        for number, text in enumerate(coded.dictionary.to_pylist()):
            told = self._conditions.get(text)
            if told is None:
                told = self._parse_condition(text)
                if told is None:
                    at = _first(pc.equal(coded.indices, number))
                    self.refuse(at, rule.name, f"{shown(text)} is no JSON object of numbers and texts")
                if len(self._conditions) < 10_000:
                    self._conditions[text] = str(told)
            spelled.append(told)
        return pa.DictionaryArray.from_arrays(coded.indices, pa.array(spelled, pa.string())).dictionary_decode()

    @staticmethod
    def _parse_condition(text: str) -> str | None:
        try:
            told = parse_strict_json(text)
        except (ValueError, RecursionError):
            return None
        if not isinstance(told, dict) or not told:
            return None
        if not all(isinstance(value, (str, int, float)) for value in told.values()):
            return None
        if any(isinstance(value, (int, float)) and abs(value) > 1e9 for value in told.values()):
            return None
        if any(object_to_text(inner) for inner in texts_in(told)):
            return None
        return dump(dict(sorted(told.items())))

    def _check_numbers(self, rule: Field, column: pa.Array) -> None:
        if pa.types.is_floating(rule.arrow) and (at := _first(pc.invert(pc.is_finite(column)))) >= 0:
            self.refuse(at, rule.name, f"{column[at].as_py()} is no finite number")
        if rule.minimum is not None and (at := _first(pc.less(column, rule.minimum))) >= 0:
            self.refuse(at, rule.name, f"{column[at].as_py()} is below {rule.minimum:g}")
        if rule.maximum is not None and (at := _first(pc.greater(column, rule.maximum))) >= 0:
            self.refuse(at, rule.name, f"{column[at].as_py()} is above {rule.maximum:g}")

    def _check_lists(self, rule: Field, column: pa.Array) -> None:
        at = _first(pc.greater(pc.list_value_length(column), rule.longest))
        if at >= 0:
            self.refuse(at, rule.name, f"the list is longer than {rule.longest}")
        numbers = pc.list_flatten(column)
        sound = pc.fill_null(pc.and_(pc.is_finite(numbers), pc.less_equal(pc.abs(numbers), 1e9)), False)
        wrong = pc.index(sound, False).as_py()
        if wrong >= 0:
            at = pc.list_parent_indices(column)[wrong].as_py()
            self.refuse(at, rule.name, f"{numbers[wrong].as_py()} in the list is no finite number up to a milliard")

    def _check_times(self, rule: Field, column: pa.Array) -> None:
        latest = datetime.now(UTC).replace(tzinfo=None) + self.settings.ahead
        for limit, beyond, told in (
            (self.settings.earliest, pc.less, "before"), (latest, pc.greater, "in the future: after"),
        ):  # fmt: skip
            at = _first(beyond(column, pa.scalar(limit, pa.timestamp("us"))))
            if at >= 0:
                self.refuse(at, rule.name, f"the time is {told} {limit:%Y-%m-%d}")

    def _check_order(self, batch: pa.RecordBatch) -> None:
        """Rows come in the order of their key, so none is there twice."""
        if not batch.num_rows:
            return
        columns = [batch.column(name) for name in self.table.key]
        first = tuple(column[0].as_py() for column in columns)
        told = ", ".join(self.table.key)
        if self._last is not None and first <= self._last:
            twice = "is there twice" if first == self._last else "is out of order"
            self.refuse(0, told, f"the key {twice}")
        wrong = ~_rises(columns)
        if wrong.any():
            at = int(np.argmax(wrong)) + 1
            twice = all(column[at].as_py() == column[at - 1].as_py() for column in columns)
            self.refuse(at, told, f"the key is {'there twice' if twice else 'out of order'}")
        self._last = tuple(column[-1].as_py() for column in columns)


def _rises(columns: list[pa.Array]) -> np.ndarray:
    """For each row but the first, whether its key is greater than that of the row before."""
    greater = np.zeros(len(columns[0]) - 1, bool)
    equal = ~greater
    for column in columns:
        one, other = column.slice(0, len(column) - 1), column.slice(1)
        greater |= equal & pc.greater(other, one).to_numpy(zero_copy_only=False)
        equal &= pc.equal(other, one).to_numpy(zero_copy_only=False)
    return greater


def _first(mask: pa.Array) -> int:
    """The first row where ``mask`` is true, -1 where none is."""
    return pc.index(pc.fill_null(mask, False), True).as_py()


class KnownDocuments:
    """The hashes of a pack's documents, 64 bytes each, to look others up in."""

    def __init__(self) -> None:
        self._parts: list[np.ndarray] = []
        self._all: np.ndarray | None = None

    def add(self, batch: pa.RecordBatch) -> None:
        """Add the documents of a batch; batches come in the order of the hashes."""
        self._parts.append(np.array(batch.column("sha256").to_pylist(), dtype="S64"))

    def find_unknown(self, batch: pa.RecordBatch) -> int:
        """The first row of a batch whose document is not among the documents, -1 where there is none."""
        if self._all is None:
            self._all = np.concatenate(self._parts) if self._parts else np.array([], dtype="S64")
        coded = batch.column("sha256").dictionary_encode()
        asked = np.array(coded.dictionary.to_pylist(), dtype="S64")
        at = np.searchsorted(self._all, asked)
        inside = at < len(self._all)
        known = np.zeros(len(asked), bool)
        known[inside] = self._all[at[inside]] == asked[inside]
        missing = ~known[coded.indices.to_numpy()]
        return int(np.argmax(missing)) if missing.any() else -1
