"""Data of a team's store in an object store: a small one of our own that speaks as much of S3 as DuckDB uses.

The requests are those of the Amazon S3 API Reference (PutObject, GetObject with Range, HeadObject, DeleteObject,
DeleteObjects, ListObjectsV2, CreateMultipartUpload, UploadPart, CompleteMultipartUpload); signatures are not checked.
"""

from __future__ import annotations

import hashlib
import os
import re
import threading
from collections.abc import Callable, Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any, ClassVar
from urllib.parse import parse_qs, unquote, urlsplit

import pytest
from cogledger.extract.records import Reading, Source, SourceKind
from cogledger.schema.claims import Claim
from cogledger.schema.errors import StoreError
from cogledger.schema.reasons import Reason
from cogledger.warehouse.lake_connection import let_go
from cogledger.warehouse.lake_store import LakeStore
from cogledger.warehouse.lake_tidy import LakeSettings, join_files
from cogledger.warehouse.register import write_reading
from cogledger.warehouse.store import rows_of


class ObjectStore(BaseHTTPRequestHandler):
    """Objects by their path, in memory."""

    protocol_version = "HTTP/1.1"
    wbufsize = 1 << 20
    disable_nagle_algorithm = True
    objects: ClassVar[dict[str, bytes]] = {}
    pieces: ClassVar[dict[str, dict[int, bytes]]] = {}

    def log_message(self, *_: object) -> None:
        return

    def _place(self) -> tuple[str, dict[str, list[str]]]:
        parts = urlsplit(self.path)
        return unquote(parts.path), parse_qs(parts.query, keep_blank_values=True)

    def _body(self) -> bytes:
        return self.rfile.read(int(self.headers.get("Content-Length") or 0))

    def _answer(self, code: int, body: bytes = b"", **headers: str) -> None:
        self.send_response(code)
        for name, value in {"Content-Length": str(len(body)), "Accept-Ranges": "bytes", **headers}.items():
            self.send_header(name.replace("_", "-"), value)
        self.end_headers()
        if self.command != "HEAD":
            self.wfile.write(body)

    def do_PUT(self) -> None:
        path, query = self._place()
        data = self._body()
        if "uploadId" in query:
            self.pieces[query["uploadId"][0]][int(query["partNumber"][0])] = data
        else:
            self.objects[path] = data
        self._answer(200, ETag=f'"{hashlib.md5(data).hexdigest()}"')

    def do_POST(self) -> None:
        path, query = self._place()
        body = self._body().decode()
        bucket, _, key = path[1:].partition("/")
        if "delete" in query:
            for name in re.findall(r"<Key>([^<]*)</Key>", body):
                self.objects.pop(f"/{bucket}/{name}", None)
            self._answer(200, b"<DeleteResult></DeleteResult>")
        elif "uploads" in query:
            upload = f"u{len(self.pieces)}"
            self.pieces[upload] = {}
            self._answer(200, f"<InitiateMultipartUploadResult><Bucket>{bucket}</Bucket><Key>{key}</Key>"
                              f"<UploadId>{upload}</UploadId></InitiateMultipartUploadResult>".encode())  # fmt: skip
        else:
            whole = self.pieces.pop(query["uploadId"][0])
            self.objects[path] = b"".join(whole[number] for number in sorted(whole))
            self._answer(
                200, f"<CompleteMultipartUploadResult><Key>{key}</Key></CompleteMultipartUploadResult>".encode()
            )

    def do_HEAD(self) -> None:
        self.do_GET()

    def do_GET(self) -> None:
        path, query = self._place()
        if "list-type" in query:
            bucket = "/" + path.strip("/") + "/"
            keys = [name.removeprefix(bucket) for name in sorted(self.objects) if name.startswith(bucket)]
            listed = "".join(
                f"<Contents><Key>{key}</Key></Contents>" for key in keys if key.startswith(query["prefix"][0])
            )
            self._answer(200, f"<ListBucketResult>{listed}</ListBucketResult>".encode())
        elif path not in self.objects:
            self._answer(404)
        elif span := re.fullmatch(r"bytes=(\d+)-(\d+)", self.headers.get("Range", "")):
            data, (start, end) = self.objects[path], map(int, span.groups())
            piece = data[start : end + 1]
            self._answer(206, piece, Content_Range=f"bytes {start}-{start + len(piece) - 1}/{len(data)}")
        else:
            self._answer(200, self.objects[path])

    def do_DELETE(self) -> None:
        self.objects.pop(self._place()[0], None)
        self._answer(204)


@pytest.fixture
def objects(monkeypatch: pytest.MonkeyPatch) -> Iterator[dict[str, bytes]]:
    """What lies in the object store, which the environment points to."""
    ObjectStore.objects.clear()
    server = ThreadingHTTPServer(("127.0.0.1", 0), ObjectStore)
    server.daemon_threads = True
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    given = {"ACCESS_KEY_ID": "k", "SECRET_ACCESS_KEY": "s", "REGION": "eu-west-3",
             "ENDPOINT_URL": f"http://127.0.0.1:{server.server_port}"}  # fmt: skip
    for name, value in given.items():
        monkeypatch.setenv(f"AWS_{name}", value)
    yield ObjectStore.objects
    server.shutdown()
    server.server_close()
    thread.join()


@pytest.mark.slow
def test_a_store_lies_in_an_object_store(
    postgres: Any, objects: dict[str, bytes], tmp_path: Path, claim: Callable[..., Claim]
) -> None:
    keywords = postgres.make_database()
    address = f"ducklake:postgres:{keywords} data=s3://team/parts"
    store = LakeStore(address, upkeep=LakeSettings(every=1000, keep_s=0))
    for number in range(4):
        source = Source(Path(f"d{number}.pdf"), f"d{number}.pdf", f"{number:064d}", 1, SourceKind.PDF)
        with store.writing() as connection:
            write_reading(connection, Reading(source, 1, (claim(f"ZQ5{number}", high=37),), reader="r"), ".pdf")
    small = len(objects)
    with store._writer() as (connection, _):
        join_files(connection, store.upkeep)
    assert len(objects) < small / 2, "what was replaced is deleted"
    document = tmp_path / "scan.pdf"
    document.write_bytes(os.urandom(9 * 2**20))
    sha = hashlib.sha256(document.read_bytes()).hexdigest()
    store.keep_source(document, sha)
    let_go(store.address)
    again = LakeStore(f"ducklake:postgres:{keywords}")
    with again.reading() as connection:
        assert rows_of(connection, "select part_code, high from limits order by 1") == [
            {"part_code": f"ZQ5{number}", "high": 37.0} for number in range(4)
        ]
    copy = again.find_source(sha)
    assert copy and copy.read_bytes() == document.read_bytes()
    assert again.own_folder is None
    assert objects and all(name.startswith("/team/parts/") for name in objects)
    objects.clear()
    with pytest.raises(StoreError) as caught, again.reading() as connection:
        rows_of(connection, "select * from kept.limits")
    assert caught.value.fault.reason is Reason.STORE_BROKEN
    assert "check that s3://team/parts/ can be reached from here" in str(caught.value)
    let_go(again.address)
