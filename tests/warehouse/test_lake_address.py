"""The address of a team's store: libpq's keywords, one of our own, and no password in anything that is shown."""

from __future__ import annotations

from pathlib import Path

import pytest
from cogledger.schema.errors import CallError
from cogledger.schema.reasons import Reason
from cogledger.warehouse.lake_address import parse_address
from cogledger.warehouse.lake_faults import explain_lake
from cogledger.warehouse.object_store import secret_from
from cogledger.warehouse.store import open_store
from psycopg.conninfo import conninfo_to_dict

MARK = "ducklake:postgres:"


def test_keywords_go_to_libpq_and_data_stays_ours(tmp_path: Path) -> None:
    address = parse_address(f"{MARK}host=db.example port=5433  dbname = parts data={tmp_path}")
    assert dict(address.keywords) == {"host": "db.example", "port": "5433", "dbname": "parts"}
    assert address.data == f"{tmp_path.as_posix()}/"
    assert conninfo_to_dict(address.conninfo).items() >= {"host": "db.example", "dbname": "parts"}.items()
    assert "data" not in address.conninfo


# The quoting rules of libpq's connection strings: PostgreSQL 15 documentation, section 34.1.1.1, "Keyword/Value
# Connection Strings"; what we pass on has to mean the same to libpq as what was written.
@pytest.mark.parametrize(
    ("written", "meant"),
    [
        ("password='with blank'", "with blank"), (r"password='it\'s'", "it's"),
        (r"password='back\\slash'", "back\\slash"),
        (r"password=it\'s", "it's"), ("password=''", ""), ("password=a=b", "a=b"),
    ],
)  # fmt: skip
def test_values_are_quoted_as_in_libpq(written: str, meant: str) -> None:
    assert conninfo_to_dict(f"{written} dbname=x")["password"] == meant
    address = parse_address(f"{MARK}{written} dbname=x")
    assert conninfo_to_dict(address.conninfo)["password"] == meant


def test_no_password_is_shown() -> None:
    address = parse_address(rf"{MARK}host=h password='sec\'ret word' sslpassword=other dbname=x")
    for shown in (address.name, repr(address), open_store(rf"{MARK}host=h password=geheim dbname=x").name):
        assert not any(secret in shown for secret in ("sec", "ret word", "other", "geheim"))
    assert address.name == f"{MARK}host=h password=*** sslpassword=*** dbname=x"
    said = f'unable to connect to "{address.conninfo}": refused, sec\'ret word'
    sentence = str(explain_lake(OSError(said), address, None, 1))
    assert "ret word" not in sentence
    assert "other" not in sentence.replace("others", "")


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ("ducklake:sqlite:parts.db", "needs PostgreSQL"), (f"{MARK}dbname", "cannot be read after 0 signs"),
        (f"{MARK}dbname=x bogus=1", 'invalid connection option "bogus"'),
        (f"{MARK}dbname=x dbname=y", "names dbname twice"),
        (f"{MARK}dbname=x data=", "names no folder"), (f"{MARK}dbname=x data=ftp://x/y", "s3://BUCKET/PREFIX"),
        (f"{MARK}postgresql://u@h/parts", "cannot be read after 0 signs"), (f"{MARK}host='h dbname=x", "after 0 signs"),
    ],
)  # fmt: skip
def test_what_is_no_address_is_one_sentence(given: str, said: str) -> None:
    with pytest.raises(CallError) as caught:
        open_store(given)
    assert said in str(caught.value)
    assert str(caught.value).endswith("write it as ducklake:postgres:host=HOST dbname=DATABASE data=FOLDER.")
    assert "\n" not in str(caught.value)


def test_the_same_folder_is_the_same_however_it_is_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    written = ["lake", "./lake/", f"{tmp_path}/lake", f"'{tmp_path}/x/../lake'"]
    assert {parse_address(f"{MARK}dbname=x data={data}").data for data in written} == {f"{tmp_path.as_posix()}/lake/"}
    assert parse_address(f"{MARK}dbname=x data=s3://bucket/parts").data == "s3://bucket/parts/"


def test_access_to_an_object_store_comes_from_the_environment() -> None:
    assert secret_from({}) == "create or replace secret data_store (type s3)"
    given = {"AWS_ACCESS_KEY_ID": "k", "AWS_SECRET_ACCESS_KEY": "it's", "AWS_REGION": "eu-west-3",
             "AWS_ENDPOINT_URL": "http://127.0.0.1:9000"}  # fmt: skip
    assert secret_from(given) == (
        "create or replace secret data_store (type s3, key_id 'k', secret 'it''s', region 'eu-west-3', "
        "endpoint '127.0.0.1:9000', url_style 'path', use_ssl 'false')"
    )


@pytest.mark.parametrize(
    ("said", "reason", "words"),
    [
        ("IO Error: Could not connect to server error for HTTP GET to 'http://h/parts/a.parquet'", Reason.STORE_BROKEN,
         "check that s3://b/ can be reached from here"),
        ("HTTP Error: Unable to write (HTTP 403)", Reason.NOT_WRITABLE,
         "check your rights on the catalogue and on its data"),
        ("IO Error: Cannot open file \"/srv/4030.parquet\": No such file or directory", Reason.STORE_BROKEN,
         "/srv/4030.parquet"),
        ('connection to server failed: FATAL:  password authentication failed for user "u"', Reason.BAD_CALL,
         "(password authentication failed for user \"u\")"),
        ('connection to server at "h", port 1 failed: FATAL:  the database system is starting up', Reason.STORE_BUSY,
         "(the database system is starting up)"),
        ("FATAL:  sorry, too many clients already", Reason.STORE_BUSY, "does not answer"),
        ("canceling statement due to lock timeout", Reason.STORE_BUSY, "others wrote to the store for 7 s"),
        ("permission denied for table ducklake_snapshot", Reason.NOT_WRITABLE, "ducklake_snapshot"),
        ("Internal Error: " + "x" * 5000, Reason.STORE_BROKEN, "xxx…"),
    ],
)  # fmt: skip
def test_what_servers_say_is_told_with_what_to_do(said: str, reason: Reason, words: str) -> None:
    error = explain_lake(RuntimeError(said), parse_address(f"{MARK}dbname=x"), "s3://b/", 7)
    assert (error.fault.reason, words in str(error)) == (reason, True), str(error)
    assert "\n" not in str(error) and len(str(error)) < 500
