"""Paths → sources: by content, never by name; every file that cannot be used is named with its reason."""

import hashlib
import os

import pytest
from cogledger.extract.records import SourceKind
from cogledger.extract.settings import ReadSettings
from cogledger.extract.sources import find_sources, kind_of
from cogledger.schema.reasons import Reason
from PIL import Image

PDF = b"%PDF-1.4\n%%EOF\n"


@pytest.mark.parametrize(
    ("head", "kind"),
    [
        (b"%PDF-1.7 ...", SourceKind.PDF),
        # PDF readers accept the header anywhere in the first 1024 bytes (PDF 1.7 reference, implementation notes)
        (b"\n" * 1000 + b"%PDF-1.3", SourceKind.PDF),
        (b"\n" * 1090 + b"%PDF-1.3", None),
        (b"\xff\xd8\xff\xe0", SourceKind.IMAGE),
        (b"\x89PNG\r\n\x1a\n", SourceKind.IMAGE),
        (b"II*\x00", SourceKind.IMAGE),
        (b"MM\x00*", SourceKind.IMAGE),
        (b"RIFF\x00\x00\x00\x00WEBPVP8 ", SourceKind.IMAGE),
        (b"RIFF\x00\x00\x00\x00WAVEfmt ", None),
        (b"\x00\x00\x00\x18ftypheic", SourceKind.IMAGE),
        (b"\x00\x00\x00\x18ftypmp42", None),
        (b"PK\x03\x04", None),
        (b"plain words", None),
        (b"", None),
    ],
)
def test_the_first_bytes_say_what_a_file_is(head, kind):
    assert kind_of(head) is kind


@pytest.mark.parametrize("form", ["JPEG", "PNG", "TIFF", "WEBP", "BMP"])
def test_pictures_of_every_kind_are_known(tmp_path, form):
    path = tmp_path / "picture.dat"
    Image.new("RGB", (8, 8)).save(path, form)
    sources, faults = find_sources([path])
    assert not faults and [s.kind for s in sources] == [SourceKind.IMAGE]


def test_a_source_carries_name_hash_and_size(tmp_path):
    path = tmp_path / "sheet.pdf"
    path.write_bytes(PDF)
    (source,), _ = find_sources([path])
    assert (source.name, source.size, source.sha256) == ("sheet.pdf", len(PDF), hashlib.sha256(PDF).hexdigest())


def test_a_picture_named_pdf_is_a_picture(tmp_path):
    path = tmp_path / "liar.pdf"
    Image.new("RGB", (8, 8)).save(path, "PNG")
    (source,), _ = find_sources([path])
    assert source.kind is SourceKind.IMAGE


@pytest.mark.parametrize(("bytes_", "reason"), [(b"", Reason.EMPTY_FILE), (b"no PDF at all", Reason.WRONG_TYPE)])
def test_a_named_file_that_cannot_be_used_is_a_fault(tmp_path, bytes_, reason):
    path = tmp_path / "bad.pdf"
    path.write_bytes(bytes_)
    sources, (fault,) = find_sources([path])
    assert not sources and fault.reason is reason and fault.file == str(path)


def test_a_path_that_is_not_there_is_a_fault_and_the_rest_goes_on(tmp_path):
    good = tmp_path / "good.pdf"
    good.write_bytes(PDF)
    sources, (fault,) = find_sources([tmp_path / "gone.pdf", good])
    assert [s.name for s in sources] == ["good.pdf"] and fault.reason is Reason.NOT_FOUND


def test_an_unreadable_file_is_a_fault(tmp_path, monkeypatch):
    path = tmp_path / "closed.pdf"
    path.write_bytes(PDF)

    def refuse(*_args, **_kwargs):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(type(path), "open", refuse)
    sources, (fault,) = find_sources([path])
    assert not sources and fault.reason is Reason.NOT_READABLE and "Permission denied" in fault.message


def test_folders_are_searched_in_order_and_other_files_passed_over(tmp_path):
    for n, name in enumerate(("b.pdf", "a/z.pdf", "a/b/c.pdf", "c.pdf")):
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(PDF + bytes([n]))
    (tmp_path / "notes.txt").write_text("words")
    (tmp_path / ".hidden.pdf").write_bytes(PDF + b"hidden")
    sources, faults = find_sources([tmp_path])
    assert not faults
    assert [s.path.relative_to(tmp_path).as_posix() for s in sources] == ["a/b/c.pdf", "a/z.pdf", "b.pdf", "c.pdf"]


def test_in_a_folder_a_file_that_promises_a_pdf_and_is_none_is_a_fault(tmp_path):
    (tmp_path / "broken.pdf").write_bytes(b"<html>moved</html>")
    (tmp_path / "good.pdf").write_bytes(PDF)
    sources, (fault,) = find_sources([tmp_path])
    assert [s.name for s in sources] == ["good.pdf"] and fault.reason is Reason.WRONG_TYPE


def test_the_same_content_is_listed_once(tmp_path):
    for name in ("one.pdf", "two.pdf"):
        (tmp_path / name).write_bytes(PDF)
    sources, faults = find_sources([tmp_path, tmp_path / "two.pdf"])
    assert not faults and [s.name for s in sources] == ["one.pdf"]


def test_nothing_to_read_is_one_fault(tmp_path):
    (tmp_path / "notes.txt").write_text("words")
    sources, (fault,) = find_sources([tmp_path])
    assert not sources and fault.reason is Reason.NOTHING_FOUND and str(tmp_path) in fault.message


def test_a_file_beyond_the_limit_is_refused(tmp_path):
    path = tmp_path / "big.pdf"
    path.write_bytes(PDF)
    _, (fault,) = find_sources([path], ReadSettings(most_file_bytes=4))
    assert fault.reason is Reason.TOO_LARGE


def test_a_broken_link_is_a_fault(tmp_path):
    path = tmp_path / "link.pdf"
    path.symlink_to(tmp_path / "gone.pdf")
    _, (fault,) = find_sources([path])
    assert fault.reason is Reason.NOT_FOUND


def test_files_come_in_the_order_of_their_paths_and_links_to_folders_are_not_followed(tmp_path):
    for n, name in enumerate(("a.d/x.pdf", "a/x.pdf", "a.pdf", "B.pdf", ".kept/x.pdf", "a/b/c/d/x.pdf")):
        path = tmp_path / "in" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(PDF + bytes([n]))
    (tmp_path / "in" / "round").symlink_to(tmp_path / "in", target_is_directory=True)
    (tmp_path / "in" / "gone.pdf").symlink_to(tmp_path / "nowhere.pdf")
    (tmp_path / "in" / "linked.pdf").symlink_to(tmp_path / "elsewhere.pdf")
    (tmp_path / "elsewhere.pdf").write_bytes(PDF + b"elsewhere")
    sources, faults = find_sources([tmp_path / "in"])
    found = [s.path for s in sources]
    assert not faults and found == sorted(found)
    assert {p.relative_to(tmp_path / "in").as_posix() for p in found} == {
        "a.d/x.pdf", "a/x.pdf", "a.pdf", "B.pdf", ".kept/x.pdf", "a/b/c/d/x.pdf", "linked.pdf",
    }  # fmt: skip


def test_a_folder_inside_that_cannot_be_listed_is_a_fault_and_the_rest_goes_on(tmp_path, monkeypatch):
    for name in ("closed/a.pdf", "open/b.pdf"):
        (tmp_path / name).parent.mkdir()
        (tmp_path / name).write_bytes(PDF + name.encode())
    listing = os.scandir

    def refuse(folder):
        if folder.endswith("closed"):
            raise PermissionError(13, "Permission denied")
        return listing(folder)

    monkeypatch.setattr(os, "scandir", refuse)
    sources, (fault,) = find_sources([tmp_path])
    assert [s.name for s in sources] == ["b.pdf"]
    assert fault.reason is Reason.NOT_READABLE and fault.file == str(tmp_path / "closed")


@pytest.mark.parametrize("size", [16, 1100, 65535, 65536, 65537, 65536 + 1024 * 1024, 3_000_001])
def test_a_file_of_any_length_has_the_hash_of_all_of_it(tmp_path, size):
    whole = (b"%PDF-1.4\n" + bytes(range(256)) * 12_000)[:size]
    (tmp_path / "x.pdf").write_bytes(whole)
    (source,), _ = find_sources([tmp_path])
    assert (source.size, source.sha256) == (size, hashlib.sha256(whole).hexdigest())
