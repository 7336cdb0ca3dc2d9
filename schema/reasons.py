"""Every reason for which something cannot be used, as data that programs match, each with its advice."""

from __future__ import annotations

from enum import StrEnum


class Reason(StrEnum):
    """Why an input, a record or a call could not be used. The value is what ``--json`` shows."""

    # the call
    BAD_CALL = "bad_call"
    BAD_BUILD = "bad_build"
    BAD_OFFERS = "bad_offers"
    UNKNOWN_CODE = "unknown_code"
    UNKNOWN_CLAIM = "unknown_claim"
    # documents and photos
    NOTHING_FOUND = "nothing_found"
    NOT_FOUND = "not_found"
    NOT_READABLE = "not_readable"
    EMPTY_FILE = "empty_file"
    WRONG_TYPE = "wrong_type"
    LOCKED_PDF = "locked_pdf"
    BROKEN_PDF = "broken_pdf"
    BROKEN_PAGE = "broken_page"
    BROKEN_IMAGE = "broken_image"
    TOO_LARGE = "too_large"
    TIMED_OUT = "timed_out"
    UNSURE_STAMP = "unsure_stamp"
    # packs
    BAD_PACK = "bad_pack"
    # the installation
    ENGINE_MISSING = "engine_missing"
    ENGINE_FAILED = "engine_failed"
    # the store
    NO_STORE = "no_store"
    STORE_BUSY = "store_busy"
    STORE_BROKEN = "store_broken"
    STORE_NEWER = "store_newer"
    NOT_WRITABLE = "not_writable"
    SOURCE_GONE = "source_gone"
    # a record that is held back
    MISSING_FIELD = "missing_field"
    WRONG_FIELD_TYPE = "wrong_field_type"
    UNKNOWN_KIND = "unknown_kind"
    UNKNOWN_LIMIT = "unknown_limit"
    KIND_HAS_NO_SUCH_LIMIT = "kind_has_no_such_limit"
    WRONG_FORM = "wrong_form"
    WRONG_UNIT = "wrong_unit"
    UNKNOWN_WORD = "unknown_word"
    NOT_PLAUSIBLE = "not_plausible"
    NOT_WHOLE = "not_whole"
    BOUNDS_REVERSED = "bounds_reversed"
    NOT_IN_ORDER = "not_in_order"
    TOO_MANY_VALUES = "too_many_values"
    BAD_BOX = "bad_box"
    BAD_CONDITION = "bad_condition"
    UNREAD_VALUE = "unread_value"
    UNSURE_LABEL = "unsure_label"
    UNSURE_PART = "unsure_part"
    CONTRADICTS = "contradicts"


ADVICE: dict[Reason, str] = {
    Reason.BAD_CALL: "see the command's --help",
    Reason.BAD_BUILD: "correct the build file at the place named",
    Reason.BAD_OFFERS: "correct the row named; the other rows were kept",
    Reason.UNKNOWN_CODE: "check the spelling, read a document that covers the part, or write the part out in the build",
    Reason.UNKNOWN_CLAIM: "list claim ids with: cogledger claims --jsonl",
    Reason.NOTHING_FOUND: "name a folder or file that holds PDFs or pictures",
    Reason.NOT_FOUND: "check the path",
    Reason.NOT_READABLE: "check that the file may be read",
    Reason.EMPTY_FILE: "copy the file again from where it came",
    Reason.WRONG_TYPE: "name a PDF, or a picture as JPEG, PNG, TIFF, WebP or HEIC",
    Reason.LOCKED_PDF: "save a copy without the password and read that",
    Reason.BROKEN_PDF: "fetch the file again; it may have been cut short",
    Reason.BROKEN_PAGE: "the other pages were read; look at this one yourself",
    Reason.BROKEN_IMAGE: "fetch the picture again or take it anew",
    Reason.TOO_LARGE: "split the document or scale the picture down",
    Reason.TIMED_OUT: "the other pages were read; look at this one yourself",
    Reason.UNSURE_STAMP: "look at the part and write its code into the build, or take the photo again from nearer",
    Reason.BAD_PACK: "nothing was taken from it; ask whoever shared it for a new pack",
    Reason.ENGINE_MISSING: "install cogledger anew with pip, or put tesseract on the PATH",
    Reason.ENGINE_FAILED: "look at this page yourself; the other pages were read",
    Reason.NO_STORE: "make one with: cogledger read FOLDER",
    Reason.STORE_BUSY: "another cogledger is writing; try again when it is done",
    Reason.STORE_BROKEN: "restore the folder from a copy, or read the documents into a new store",
    Reason.STORE_NEWER: "update cogledger: this store was written by a newer version",
    Reason.NOT_WRITABLE: "make room or choose another folder with --store",
    Reason.SOURCE_GONE: "read the document again so that its copy is kept in the store",
    Reason.MISSING_FIELD: "a claim needs this field",
    Reason.WRONG_FIELD_TYPE: "see docs/claim.schema.json for the field's type",
    Reason.UNKNOWN_KIND: "see the part kinds in docs/vocabulary.md",
    Reason.UNKNOWN_LIMIT: "see the limit keys in docs/vocabulary.md",
    Reason.KIND_HAS_NO_SUCH_LIMIT: "look at the page: the number may belong to another part",
    Reason.WRONG_FORM: "look at the page: the limit wants its value in another form",
    Reason.WRONG_UNIT: "look at the page: the number carries another unit",
    Reason.UNKNOWN_WORD: "look at the page: only the vocabulary's words are taken",
    Reason.NOT_PLAUSIBLE: "look at the page: no such part is common; confirm the value if it is printed so",
    Reason.NOT_WHOLE: "look at the page: teeth and counts are whole numbers",
    Reason.BOUNDS_REVERSED: "look at the page: the smaller bound comes first",
    Reason.NOT_IN_ORDER: "look at the page: cogs run smallest first, rings largest first",
    Reason.TOO_MANY_VALUES: "look at the page: the list is longer than any such part",
    Reason.BAD_BOX: "read the document again",
    Reason.BAD_CONDITION: "conditions use the vocabulary's limit keys",
    Reason.UNREAD_VALUE: "look at the page: the words under this label were not understood",
    Reason.UNSURE_LABEL: "look at the page: the label could mean more than one limit",
    Reason.UNSURE_PART: "look at the page: it is not clear which part this number belongs to",
    Reason.CONTRADICTS: "look at the page: another number of the same part does not go with this one",
}


def advice_for(reason: Reason) -> str:
    """What a person can do about ``reason``."""
    return ADVICE[reason]
