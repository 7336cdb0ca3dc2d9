"""Arrow's functions on columns. They are made when pyarrow is imported, so that no type checker knows their names."""

from __future__ import annotations

from typing import Any

import pyarrow.compute

pc: Any = pyarrow.compute
