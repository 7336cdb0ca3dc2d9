-- Claims and limits in typed columns instead of JSON, in the order of their families of codes, so that a part is found
-- among millions by the smallest and greatest family of each block of rows; parts in a table of their own for searches;
-- who shared a document or a word; when a document was dated; paths where a document is gone.

alter table kept.documents add column dated timestamp;
alter table kept.documents add column mark varchar;
alter table kept.documents add column origin varchar;
alter table kept.document_paths add column gone_at timestamp;

drop view main.claims;
drop view main.limits;
drop view main.parts;
drop view main.documents;
drop view kept.last_judgements;

alter table kept.judgements add column origin varchar;

-- The word that holds on each claim: one said in this store before others, then the newest. What others said of a document
-- that this store read itself does not hold; it is told beside the claim, see kept.others_words.
create view kept.last_judgements as
select j.* from kept.judgements j join kept.documents d using (sha256)
where j.origin is null or d.origin is not null
qualify row_number() over (
    partition by j.claim_id order by (j.origin is null) desc, j.judged_at desc, j.judgement_id desc
) = 1;

create view kept.others_words as
select j.* from kept.judgements j join kept.documents d using (sha256)
where j.origin is not null and d.origin is null
qualify row_number() over (partition by j.claim_id order by j.judged_at desc, j.judgement_id desc) = 1;

-- "record" is a held-back reading as JSON, exactly as it was given; a valid one is its columns.
create table kept.readings (
    claim_id    varchar not null,
    sha256      varchar not null,
    position    integer not null,
    state       varchar not null,
    family      varchar not null,
    code_key    varchar not null,
    variant_key varchar not null,
    page        integer,
    bbox        double[],
    maker       varchar,
    part_code   varchar,
    variant     varchar,
    part_kind   varchar,
    limit_key   varchar,
    low         double,
    high        double,
    "values"    double[],
    text        varchar,
    unit        varchar,
    condition   varchar,
    snippet     varchar,
    method      varchar,
    confidence  double,
    record      varchar,
    reasons     varchar,
    reader      varchar not null
);

insert into kept.readings
select claim_id, sha256, position, state,
       case when length(code_key) > 3 then left(code_key, 3) || regexp_replace(substr(code_key, 4), '\p{L}+$', '')
            else code_key end as family,
       code_key, variant_key, coalesce(try_cast(r ->> 'page' as integer), 1),
       case when len(box) = 4 and box[1] <= box[3] and box[2] <= box[4] then box end, r ->> 'maker',
       coalesce(r ->> 'part_code', ''), r ->> 'variant', coalesce(r ->> 'part_kind', ''), coalesce(r ->> 'limit', ''),
       try_cast(r ->> 'low' as double), try_cast(r ->> 'high' as double), try_cast(r -> 'values' as double[]),
       r ->> 'text', r ->> 'unit', case when json_type(r -> 'condition') = 'OBJECT' then r ->> 'condition' end,
       coalesce(r ->> 'snippet', ''), coalesce(r ->> 'method', ''),
       coalesce(try_cast(r ->> 'confidence' as double), 0), case when state = 'held_back' then record end, reasons,
       reader
from (select *, record::json as r, try_cast(record::json -> 'bbox' as double[]) as box from kept.claims)
order by family, code_key;

drop table kept.claims;
alter table kept.readings rename to claims;

drop table kept.limits;
create table kept.limits (
    family      varchar not null,
    part_kind   varchar not null,
    maker_key   varchar not null,
    code_key    varchar not null,
    variant_key varchar not null,
    part_code   varchar not null,
    variant     varchar,
    maker       varchar,
    limit_key   varchar not null,
    position    integer not null,
    low         double,
    high        double,
    "values"    double[],
    text        varchar,
    unit        varchar,
    condition   varchar,
    confidence  double not null,
    sources     struct(claim_id varchar, document varchar, page integer, snippet varchar, state varchar)[] not null,
    conflicts   varchar
);

-- One row for each variant of each part. "words" holds what a search may find it by, each folded and behind a blank.
create table kept.parts (
    family        varchar not null,
    part_kind     varchar not null,
    maker_key     varchar not null,
    code_key      varchar not null,
    variant_key   varchar not null,
    part_code     varchar not null,
    variant       varchar,
    maker         varchar,
    lookalike_key varchar not null,
    words         varchar not null,
    limit_keys    varchar[] not null,
    replaces      varchar[]
);

-- Pictures of the places that claims were read from, as others shared them; "sha256" is that of the PNG among the copies.
create table kept.pictures (claim_id varchar not null, sha256 varchar not null);

-- How many rows came out of order since the big tables were last put in order.
create table kept.disorder (rows_since bigint not null);
insert into kept.disorder values (0);

delete from kept.rule;

create view main.documents as
select d.sha256, d.name as document, d.kind, d.size, d.pages, d.reader, d.seconds, d.read_at,
       (select list(p.path order by p.path) from kept.document_paths p where p.sha256 = d.sha256) as paths,
       (select count(*) from kept.failed_pages f where f.sha256 = d.sha256) as failed_pages,
       (select coalesce(bool_and(p.gone_at is not null), false) from kept.document_paths p
        where p.sha256 = d.sha256) as gone,
       d.dated, d.origin
from kept.documents d;

-- Judged claims and the others apart, so that a question for one part looks at the rows of that part only.
create view main.claims as
select c.claim_id, c.state, d.name as document, c.page, c.bbox, c.maker, c.part_code, c.variant, c.part_kind,
       c.limit_key as "limit", c.low, c.high, c."values", c.text, c.unit, c.condition::json as condition, c.snippet,
       c.method, c.confidence, c.reasons::json as reasons, null::varchar as judged_by, null::timestamp as judged_at,
       null::varchar as note, c.sha256 as document_sha256, null::varchar as judged_in, d.origin, c.code_key, c.family
from kept.claims c join kept.documents d using (sha256)
where c.claim_id not in (select claim_id from kept.last_judgements)
union all
select t.claim_id, t.verdict as state, d.name as document, t.page, t.bbox,
       case when r is null then t.maker else r ->> 'maker' end as maker,
       case when r is null then t.part_code else r ->> 'part_code' end as part_code,
       case when r is null then t.variant else r ->> 'variant' end as variant,
       case when r is null then t.part_kind else r ->> 'part_kind' end as part_kind,
       case when r is null then t.limit_key else r ->> 'limit' end as "limit",
       case when r is null then t.low else try_cast(r ->> 'low' as double) end as low,
       case when r is null then t.high else try_cast(r ->> 'high' as double) end as high,
       case when r is null then t."values" else try_cast(r -> 'values' as double[]) end as "values",
       case when r is null then t.text else r ->> 'text' end as text,
       case when r is null then t.unit else r ->> 'unit' end as unit,
       case when r is null then t.condition::json else nullif(r -> 'condition', 'null') end as condition,
       t.snippet, t.method,
       case when r is null then t.confidence else try_cast(r ->> 'confidence' as double) end as confidence,
       t.reasons::json as reasons, t.judged_by, t.judged_at, t.note, t.sha256 as document_sha256, t.judged_in, d.origin,
       t.code_key, t.family
from (
    select c.*, j.verdict, j.judged_by, j.judged_at, j.note, j.origin as judged_in, j.correction::json as r
    from kept.claims c join kept.last_judgements j using (claim_id)
) t join kept.documents d using (sha256);

create view main.limits as
select part_kind, part_code, variant, maker, limit_key as "limit", low, high, "values", text, unit,
       condition::json as condition, confidence, sources[1].document as document, sources[1].page as page,
       sources[1].claim_id as claim_id, to_json(sources) as sources, coalesce(conflicts, '[]')::json as conflicts,
       code_key, variant_key, maker_key, family
from kept.limits;

create view main.parts as
select part_kind, part_code, variant, maker, len(limit_keys) as limits, code_key, variant_key, maker_key, limit_keys,
       replaces, family
from kept.parts;
