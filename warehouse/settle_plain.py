"""Resolved limits of plain parts, all at once in SQL; what is not plain is left to ``resolve``.

A family of codes is plain where the rule of ``resolve`` has nothing to choose: one code, written one way, of one kind
and at most one maker; every claim as read and without a condition; variants named always or never, each written one
way; and whoever states a limit says the same. Both ways give the same rows for a plain family (a property test holds
them to it); this one takes a fiftieth of the time.
"""

from __future__ import annotations

from collections.abc import Iterator

import pyarrow as pa

from ..schema.limits import LIMITS
from ..schema.parts import LOOKALIKES, maker_key
from .resolve import MOST_CONFIDENCE
from .store import Connection

_CLAIMS_AT_ONCE = 400_000
_SAME = "(count({0}) = 0 or (count({0}) = count(*) and min({0}) = max({0})))"
_ASCII = "regexp_full_match(coalesce({0}, ''), '[\\x00-\\x7F]*')"
_SQUASHED = "regexp_replace(upper({0}), '[^A-Z0-9]', '', 'g')"

_FIND_PLAIN = f"""
create or replace temp table plain as
with stated as (
    select family, min(code_key) as code, max(code_key) as last_code, min(part_code) as written,
           max(part_code) as last_written, min(part_kind) as kind, max(part_kind) as last_kind, min(maker) as maker,
           max(maker) as last_maker, bool_and(state = 'read' and condition is null) as bare, variant_key,
           min(variant) as variant, max(variant) as last_variant,
           {" and ".join(_SAME.format(name) for name in ("low", "high", '"values"', "text", "unit"))} as agreed
    from kept.claims where family between ? and ?
    group by family, variant_key, limit_key
)
select family, max(last_maker) as maker
from stated
group by family
having min(code) = max(last_code) and min(written) = max(last_written) and min(kind) = max(last_kind)
   and min(maker) is not distinct from max(last_maker) and bool_and(bare and agreed)
   and (bool_and(variant_key = '') or bool_and(variant_key <> ''))
   and bool_and(variant is not distinct from last_variant)
   and count(distinct (variant_key, variant)) = count(distinct variant_key)
   and {" and ".join("bool_and(" + _ASCII.format(name) + ")" for name in ("written", "variant", "maker"))}
"""

_FIND_JUDGED = """
create or replace temp table judged as
select distinct family from kept.claims where claim_id in (select claim_id from kept.judgements)
"""

_LIMITS = f"""
insert into kept.limits by name
with witnesses as (
    select c.family, c.part_kind, c.code_key, c.variant_key, c.limit_key, coalesce(d.mark, c.sha256) as mark,
           max(c.confidence) as confidence, any_value(c.part_code) as part_code, any_value(c.variant) as variant,
           any_value(plain.maker) as maker, any_value(c.low) as low, any_value(c.high) as high,
           any_value(c."values") as "values", any_value(c.text) as text, any_value(c.unit) as unit,
           list({{'less_sure': -c.confidence, 'older': -epoch_us(d.read_at), 'claim_id': c.claim_id,
                 'document': d.name, 'page': c.page, 'snippet': c.snippet}}) as claims
    from kept.claims c join plain using (family) join kept.documents d using (sha256)
    where c.family between ? and ?
    group by c.family, c.part_kind, c.code_key, c.variant_key, c.limit_key, coalesce(d.mark, c.sha256)
), resolved as (
    select family, part_kind, code_key, variant_key, limit_key, any_value(part_code) as part_code,
           any_value(variant) as variant, any_value(maker) as maker, any_value(low) as low, any_value(high) as high,
           any_value("values") as "values", any_value(text) as text, any_value(unit) as unit,
           least({MOST_CONFIDENCE}, round(1 - product(1 - confidence), 6)) as confidence,
           flatten(list(claims)) as claims
    from witnesses
    group by family, part_kind, code_key, variant_key, limit_key
)
select r.* exclude (claims, maker), m.maker, m.maker_key,
       row_number() over (partition by family, variant_key order by k.place) - 1 as position,
       list_transform(
           list_sort(claims),
           lambda c: {{'claim_id': c.claim_id, 'document': c.document, 'page': c.page, 'snippet': c.snippet,
                       'state': 'read'}}
       ) as sources
from resolved r join limit_places k using (limit_key)
left join maker_names m on m.maker is not distinct from r.maker
order by family, part_kind, code_key, variant_key, position
"""

_PARTS = f"""
insert into kept.parts by name
with one as (
    select family, part_kind, maker_key, code_key, variant_key, any_value(part_code) as part_code,
           any_value(variant) as variant, any_value(maker) as maker, list_sort(list(limit_key)) as limit_keys,
           max({_SQUASHED.format("text")}) filter (limit_key = 'replaces') as replaced
    from kept.limits semi join plain using (family) where family between ? and ?
    group by family, part_kind, maker_key, code_key, variant_key
), named as (
    select *, list_filter(
        [part_code, case when coalesce(variant, '') = '' then part_code else part_code || ' ' || variant end, variant,
         maker], lambda name: name is not null) as names
    from one
)
select * exclude (replaced, names), translate(code_key, '{LOOKALIKES[0]}', '{LOOKALIKES[1]}') as lookalike_key,
       case when replaced is not null then [replaced] end as replaces,
       list_aggregate(list_transform(list_sort(list_distinct(list_filter(list_transform(
           flatten(list_transform(names, lambda name: list_append(
               regexp_split_to_array(name, '[\\s\\-_/,()]+'), name))),
           lambda word: {_SQUASHED.format("word")}), lambda word: word <> ''))), lambda word: ' ' || word),
           'string_agg', '') as words
from named
order by family, part_kind, code_key, maker_key, variant_key
"""


def settle_plain(connection: Connection) -> None:
    """Resolve every plain family into ``kept.limits`` and ``kept.parts``; the rest is in the table ``not_plain``.

    Nothing of these families may be in either table. Some ``_CLAIMS_AT_ONCE`` claims are looked at together, so that
    memory does not grow with the store.
    """
    connection.execute(_FIND_JUDGED)
    connection.execute("create or replace temp table not_plain (family varchar)")
    named = _name_makers(connection)
    places = pa.table({"limit_key": list(LIMITS), "place": list(range(len(LIMITS)))})
    connection.register("maker_names", named)
    connection.register("limit_places", places)
    try:
        for first, last in _slices(connection):
            span = [first, last]
            connection.execute(_FIND_PLAIN, span)
            connection.execute("delete from plain where family in (select family from judged)")
            connection.execute(
                "insert into not_plain select distinct family from kept.claims anti join plain using (family)"
                " where family between ? and ?",
                span,
            )
            connection.execute(_LIMITS, span)
            connection.execute(_PARTS, span)
    finally:
        connection.unregister("maker_names")
        connection.unregister("limit_places")


def _slices(connection: Connection) -> Iterator[tuple[str, str]]:
    """The first and last family of each run of families that together have some ``_CLAIMS_AT_ONCE`` claims."""
    rows = connection.execute(
        "select min(family), max(family) from ("
        " select family, (sum(count(*)) over (order by family) - 1) // ? as slice from kept.claims"
        " where family <> '' group by family) group by slice order by 1",
        [_CLAIMS_AT_ONCE],
    ).fetchall()
    yield from rows


def _name_makers(connection: Connection) -> pa.Table:
    makers = [row[0] for row in connection.execute("select distinct maker from kept.claims").fetchall()]
    keys = [maker_key(maker) for maker in makers]
    return pa.table({"maker": pa.array(makers, pa.string()), "maker_key": pa.array(keys, pa.string())})
