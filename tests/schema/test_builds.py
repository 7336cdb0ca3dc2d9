"""Build files: every notation, every fault with its place. The notations are those of the project's own contract."""

from __future__ import annotations

import json
import pickle

import jsonschema
import pytest
from cogledger.schema.build_schema import build_json_schema
from cogledger.schema.build_values import NotationError, parse_limit
from cogledger.schema.builds import (
    CodeRef,
    PhotoRef,
    Slot,
    WrittenPart,
    build_from_mapping,
    load_build,
    parse_build,
    with_photos,
)
from cogledger.schema.errors import BuildError
from cogledger.schema.limits import LIMITS, Form
from cogledger.schema.reasons import Reason
from cogledger.schema.tyres import Tyre
from hypothesis import given
from hypothesis import strategies as st

WHOLE = """
name = "Lane bike"
[bike]
chainstay_mm = 425
wheel = "32-622"
freehub = "body R2"
firmware = "4.10"
rear_mount = "hanger"
front_mount = "clamp"
seat_tube_mm = 31.8
[now]
rear_derailleur = "HX55 medium"
front_derailleur = "HF5"
cassette = "11-28"
rings = "52/36"
shifter = { rear_speeds = 11, ring_count = [2, 3], actuation = "Cable" }
chain = { rear_speeds = 11, link_count = 108 }
[wish]
cassette = [12, 11, 32]
rings = { rings = [34, 50], bolt_circle = 110 }
front_derailleur = ""
"""


def entry(slot: str, raw: object) -> object:
    return build_from_mapping({"now": {slot: raw}}).now[Slot(slot)]


def value(slot: str, key: str, raw: object):
    part = entry(slot, {key: raw})
    assert isinstance(part, WrittenPart)
    return part.limits[0]


def faults(mapping: dict) -> dict[str, str]:
    with pytest.raises(BuildError) as caught:
        build_from_mapping(mapping)
    return {fault.where or "": fault.message for fault in caught.value.faults}


def test_a_whole_build(tmp_path):
    path = tmp_path / "lane.toml"
    path.write_text("\ufeff" + WHOLE, encoding="utf-8")
    build = load_build(path)
    assert (build.name, build.file) == ("Lane bike", "lane.toml")
    assert build.bike.wheel == Tyre(32, 622)
    assert build.bike.firmware == "4.10"
    assert build.now[Slot.REAR_DERAILLEUR] == CodeRef("HX55 medium")
    wished = build.wished_parts()
    assert Slot.FRONT_DERAILLEUR not in wished
    assert wished[Slot.CASSETTE].where == "wish.cassette"
    assert wished[Slot.CHAIN].where == "now.chain"
    assert [limit.values for limit in wished[Slot.CASSETTE].entry.limits] == [(11, 12, 32)]
    assert next(limit.values for limit in wished[Slot.RINGS].entry.limits) == (50, 34)


@pytest.mark.parametrize("raw", ["11-28", "11 - 28", "11–28", "11-28T", "11t-28t"])
def test_two_cogs_with_a_dash_tell_the_ends_only(raw):
    (limit,) = entry("cassette", raw).limits
    assert (limit.low, limit.high, limit.values) == (11, 28, None)


@pytest.mark.parametrize(
    ("slot", "raw", "teeth"),
    [
        ("rings", "52/36", (52, 36)),
        ("rings", "50-34", (50, 34)),
        ("rings", "50-34T", (50, 34)),
        ("rings", "34/50", (50, 34)),
        ("rings", "52/42/30", (52, 42, 30)),
        ("rings", 42, (42,)),
        ("rings", "42", (42,)),
        ("rings", [50.0, 34.0], (50, 34)),
        ("cassette", "11-12-13-15-17", (11, 12, 13, 15, 17)),
        ("cassette", [28, 11, 17], (11, 17, 28)),
        ("freewheel", [16], (16,)),
        ("cassette", "[11, 13, 15]", (11, 13, 15)),
    ],
)
def test_lists_of_teeth(slot, raw, teeth):
    (limit,) = entry(slot, raw).limits
    assert limit.values == teeth


@pytest.mark.parametrize("raw", ["HC1128", "11-28X", "C 11-28", "7402"])
def test_anything_else_is_a_model_code(raw):
    assert entry("cassette", raw) == CodeRef(raw)


@pytest.mark.parametrize(
    ("slot", "key", "raw", "low", "high"),
    [
        ("rear_derailleur", "largest_cog", 32, None, 32),
        ("front_derailleur", "big_ring", 53, None, 53),
        ("rear_derailleur", "smallest_cog", 11, 11, None),
        ("front_derailleur", "small_ring", 34, 34, None),
        ("front_derailleur", "ring_step", 10, 10, None),
        ("rear_derailleur", "total_capacity", 37, None, 37),
        ("rear_derailleur", "largest_cog", "28-32", 28, 32),
        ("rear_derailleur", "largest_cog", "28–32 T", 28, 32),
        ("rear_derailleur", "largest_cog", [28, 32], 28, 32),
        ("rear_derailleur", "largest_cog", {"low": 28, "high": 32}, 28, 32),
        ("rear_derailleur", "largest_cog", {"high": 32}, None, 32),
        ("rear_derailleur", "largest_cog", {"low": 28, "high": None}, 28, None),
        ("rear_derailleur", "largest_cog", "<=32", None, 32),
        ("rear_derailleur", "largest_cog", ">= 28", 28, None),
        ("rear_derailleur", "largest_cog", "32", None, 32),
        ("rear_derailleur", "smallest_cog", "<=14", None, 14),
        ("rear_derailleur", "total_capacity", "<=37", None, 37),
        ("crankset", "chainline", 43.5, 43.5, 43.5),
        ("front_derailleur", "chainline", "43.5-45", 43.5, 45),
        ("hanger_extender", "capacity_change", 0, 0, 0),
        ("hanger_extender", "capacity_change", -2, -2, -2),
        ("crankset", "bolt_circle", "110 mm", 110, 110),
    ],
)
def test_written_limits(slot, key, raw, low, high):
    limit = value(slot, key, raw)
    assert (limit.low, limit.high) == (low, high)


def test_limits_may_be_rarer_than_teeth():
    """A limit may lie beyond what is common, the teeth on a bike may not; common practice, no source."""
    assert value("rear_derailleur", "total_capacity", 70).high == 70
    assert list(faults({"now": {"rear_derailleur": {"total_capacity": 80}}})) == ["now.rear_derailleur.total_capacity"]
    assert entry("cassette", [9, 60]).limits[0].values == (9, 60)
    assert list(faults({"now": {"cassette": [11, 61]}})) == ["now.cassette"]
    assert list(faults({"now": {"cassette": [8, 28]}})) == ["now.cassette"]


def test_alternatives_and_words():
    assert value("shifter", "rear_speeds", "10/11").values == (10, 11)
    assert value("chain", "rear_speeds", 11).values == (11,)
    assert value("shifter", "actuation", "Cable").text == "cable"
    assert value("rear_derailleur", "firmware_min", "4.9").text == "4.9"


def test_a_cassette_written_out_may_tell_ends_and_number():
    part = entry("cassette", {"cogs": "11-34", "rear_speeds": 11})
    assert [(limit.limit, limit.low, limit.high, limit.values) for limit in part.limits] == [
        ("cogs", 11, 34, None),
        ("rear_speeds", None, None, (11,)),
    ]


@pytest.mark.parametrize(
    ("now", "wish", "slots"),
    [
        ({"freewheel": "14-28"}, {"cassette": "11-28"}, ["cassette"]),
        ({"cassette": "11-28"}, {"freewheel": "14-28"}, ["freewheel"]),
        ({"crankset": "HC2", "rings": "52/36"}, {"crankset": "HC3"}, ["crankset"]),
        ({"crankset": "HC2", "rings": "52/36"}, {"crankset": "HC3", "rings": "50/34"}, ["crankset", "rings"]),
        ({"crankset": "HC2", "rings": "52/36"}, {"rings": "50/34"}, ["crankset", "rings"]),
        ({"hanger_extender": "HE1", "chain": "HK1"}, {"hanger_extender": ""}, ["chain"]),
    ],
)
def test_what_a_wish_replaces(now, wish, slots):
    assert [str(slot) for slot in build_from_mapping({"now": now, "wish": wish}).wished_parts()] == slots


def test_photos_are_looked_for_beside_the_build(tmp_path):
    build = build_from_mapping({"now": {"rear_derailleur": "photo: rear.jpg"}}, tmp_path / "b.toml")
    photo = build.now[Slot.REAR_DERAILLEUR]
    assert photo == PhotoRef("photo: rear.jpg", tmp_path / "rear.jpg")
    read = with_photos(build, lambda slot, ref, where: CodeRef(f"{where} {slot} {ref.path.name}"))
    assert read.now[Slot.REAR_DERAILLEUR] == CodeRef("now.rear_derailleur rear_derailleur rear.jpg")


def test_every_fault_is_named_with_its_place():
    found = faults(
        {
            "nam": "x",
            "bike": {"wheel": "700c", "firmware": 4.1, "rear_mount": "hook", "chainstay_mm": -410, "seat_tube_mm": "a"},
            "now": {
                "casette": "11-28",
                "cassette": "32-11",
                "rings": [50, -34],
                "chain": 108,
                "rear_derailleur": {"total_capacity": 0, "largest_cog": "32-28", "cogs": [11], "shift_family": 3.5},
            },
            "wish": {"rings": [50, 50], "freewheel": [0], "cassette": [11.5], "crankset": {}},
        }
    )
    assert set(found) == {
        "nam", "bike.wheel", "bike.firmware", "bike.rear_mount", "bike.chainstay_mm", "bike.seat_tube_mm",
        "now.casette", "now.cassette", "now.rings", "now.chain", "now.rear_derailleur.total_capacity",
        "now.rear_derailleur.largest_cog", "now.rear_derailleur.cogs", "now.rear_derailleur.shift_family",
        "wish.rings", "wish.freewheel", "wish.cassette", "wish.crankset",
    }  # fmt: skip
    assert '"cassette" is' in found["now.casette"]
    assert '"name" is' in found["nam"]


@pytest.mark.parametrize(
    ("where", "mapping"),
    [
        ("now.rings", {"now": {"rings": [500, 34]}}),
        ("now.rings", {"now": {"rings": []}}),
        ("now.rings", {"now": {"rings": [53, 42, 34, 22]}}),
        ("now.cassette", {"now": {"cassette": True}}),
        ("now.cassette", {"now": {"cassette": [11, float("nan")]}}),
        ("now.cassette", {"now": {"cassette": ["11", "x"]}}),
        ("now.cassette", {"now": {"cassette": "11-280"}}),
        ("now", {"now": []}),
        ("now", {"name": "empty"}),
        ("now", {"now": {}, "wish": {"cassette": ""}}),
        ("now.freewheel", {"now": {"cassette": "11-28", "freewheel": "14-28"}}),
        ("now.rear_derailleur.total_capacity", {"now": {"rear_derailleur": {"total_capacity": ">=3"}}}),
        ("now.rear_derailleur.largest_cog", {"now": {"rear_derailleur": {"largest_cog": "big"}}}),
        ("now.rear_derailleur", {"now": {"rear_derailleur": "photo:"}}),
        ("build", ["now"]),
    ],
)
def test_single_faults(where, mapping):
    assert list(faults(mapping)) == [where]


def test_faults_of_the_file_itself(tmp_path):
    with pytest.raises(BuildError) as caught:
        load_build(tmp_path / "none.toml")
    assert caught.value.fault.reason is Reason.NOT_FOUND
    bad = tmp_path / "bad.toml"
    bad.write_text('name = "x"\n[now]\ncassette = 11-28\n')
    with pytest.raises(BuildError, match=r"line 3") as caught:
        load_build(bad)
    assert (caught.value.fault.reason, caught.value.exit_code) == (Reason.BAD_BUILD, 2)
    bad.write_bytes(b"name = '\xff\xfe'")
    with pytest.raises(BuildError, match="UTF-8"):
        load_build(bad)
    with pytest.raises(BuildError):
        load_build(tmp_path)
    again = pickle.loads(pickle.dumps(caught.value))
    assert again.faults == caught.value.faults


def test_rows_of_batches_mean_the_same_as_files():
    nested = build_from_mapping({"name": "b", "bike": {"chainstay_mm": 410}, "now": {"cassette": [11, 28]}})
    nulls = {"name": "b", "bike": {"chainstay_mm": 410.0, "wheel": None}, "wish": None,
             "now": {"cassette": [11, 28], "rings": None, "chain": {"link_count": None}}}  # fmt: skip
    flat = {"name": "b", "bike.chainstay_mm": 410, "now.cassette": "[11, 28]"}
    text = {"name": "b", "bike": '{"chainstay_mm": 410}', "now": json.dumps({"cassette": [11, 28]})}
    assert build_from_mapping(nulls) == nested
    assert build_from_mapping(flat) == nested
    assert build_from_mapping(text) == nested


def test_the_published_schema_takes_a_whole_build_and_refuses_what_the_reader_refuses():
    import tomllib

    schema = build_json_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    validator.validate(tomllib.loads(WHOLE.replace("Cable", "cable")))
    for bad in ({"now": {"casette": "11-28"}}, {"now": {"rings": [-50, 34]}}, {"bike": {"rear_mount": "hook"}}):
        assert not validator.is_valid(bad)
        with pytest.raises(BuildError):
            build_from_mapping(bad)


NUMBERS = st.integers(-5, 130) | st.floats(-5, 130) | st.text("0123456789-<=>/ .T", max_size=8) | st.booleans()


@given(st.sampled_from(sorted(LIMITS)), NUMBERS | st.lists(NUMBERS, max_size=4) | st.none())
def test_any_value_is_taken_in_its_form_or_refused(key, raw):
    row = LIMITS[key]
    try:
        limit = parse_limit(row, raw)
    except NotationError:
        return
    if row.form is Form.HIGH:
        assert limit.high is not None and limit.low is None
    elif row.form is Form.LOW:
        assert limit.low is not None and limit.high is None
    elif row.form is Form.EXACT:
        assert limit.low is not None and limit.low == limit.high
    elif row.form is Form.TEXT:
        assert limit.text
    if limit.low is not None and limit.high is not None:
        assert limit.low <= limit.high


@given(st.dictionaries(st.text(max_size=6), st.integers() | st.text(max_size=5) | st.none(), max_size=4))
def test_no_mapping_raises_anything_but_a_build_error(table):
    for mapping in (table, {"now": table}, {"bike": table, "now": {"rings": "50/34"}}, {"now": {"chain": table}}):
        try:
            build_from_mapping(mapping)
        except BuildError as error:
            assert error.faults and str(error)


def test_toml_text_is_taken_too():
    assert parse_build('[now]\nrings = "50-34"').name == "build"
