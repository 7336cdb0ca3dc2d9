"""Access to an object store that speaks S3, from the environment variables that its own tools use."""

from __future__ import annotations

from collections.abc import Mapping
from urllib.parse import urlsplit

_FIELDS = {
    "key_id": "AWS_ACCESS_KEY_ID",
    "secret": "AWS_SECRET_ACCESS_KEY",
    "session_token": "AWS_SESSION_TOKEN",
}
_REGIONS = ("AWS_REGION", "AWS_DEFAULT_REGION")
_ENDPOINTS = ("AWS_ENDPOINT_URL_S3", "AWS_ENDPOINT_URL")


def secret_from(environment: Mapping[str, str]) -> str:
    """The DuckDB statement that gives one database, in memory, access to an object store."""
    fields = {name: environment[variable] for name, variable in _FIELDS.items() if environment.get(variable)}
    if region := _first(environment, _REGIONS):
        fields["region"] = region
    if endpoint := _first(environment, _ENDPOINTS):
        parts = urlsplit(endpoint if "://" in endpoint else f"https://{endpoint}")
        fields |= {"endpoint": parts.netloc, "url_style": "path", "use_ssl": str(parts.scheme == "https").lower()}
    options = ", ".join(["type s3", *(f"{name} {literal(value)}" for name, value in fields.items())])
    return f"create or replace secret data_store ({options})"


def literal(text: str) -> str:
    """Text as an SQL literal."""
    escaped = text.replace("'", "''")
    return f"'{escaped}'"


def _first(environment: Mapping[str, str], names: tuple[str, ...]) -> str | None:
    return next((environment[name] for name in names if environment.get(name)), None)
