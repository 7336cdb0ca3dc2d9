-- Everything that is kept lives in the schema "kept"; the views beside it are for outside clients and only read.

create schema kept;

create table kept.documents (
    sha256    varchar not null,
    name      varchar not null,
    extension varchar not null,
    kind      varchar not null,
    size      bigint not null,
    pages     integer not null,
    reader    varchar not null,
    seconds   double not null,
    read_at   timestamp not null
);

create table kept.document_paths (
    sha256 varchar not null,
    name   varchar not null,
    path   varchar not null
);

create table kept.failed_pages (
    sha256    varchar not null,
    reason    varchar not null,
    message   varchar not null,
    file      varchar,
    "where"   varchar,
    advice    varchar
);

-- One row for each reading, valid or held back. "record" is the reading as JSON, exactly as the reader gave it.
create table kept.claims (
    claim_id    varchar not null,
    sha256      varchar not null,
    position    integer not null,
    state       varchar not null,
    part_kind   varchar,
    code_key    varchar not null,
    variant_key varchar not null,
    limit_key   varchar,
    record      varchar not null,
    reasons     varchar,
    reader      varchar not null
);

-- A person's word; never changed, never deleted. The newest one on a claim holds. "snapshot" is the reading at the time.
create table kept.judgements (
    judgement_id varchar not null,
    claim_id     varchar not null,
    sha256       varchar not null,
    verdict      varchar not null,
    snapshot     varchar not null,
    correction   varchar,
    judged_by    varchar not null,
    judged_at    timestamp not null,
    note         varchar
);

create view kept.last_judgements as
select * from kept.judgements
qualify row_number() over (partition by claim_id order by judged_at desc, judgement_id desc) = 1;

-- The value to go by for each part, variant, limit and condition; made anew from the claims whenever those change.
create table kept.limits (
    part_kind   varchar not null,
    code_key    varchar not null,
    variant_key varchar not null,
    part_code   varchar not null,
    variant     varchar,
    maker       varchar,
    limit_key   varchar not null,
    position    integer not null,
    value       varchar not null,
    confidence  double not null,
    sources     varchar not null,
    conflicts   varchar not null
);

-- The version of the rule by which kept.limits was made; another rule makes it anew.
create table kept.rule (version integer not null);

create view main.documents as
select d.sha256, d.name as document, d.kind, d.size, d.pages, d.reader, d.seconds, d.read_at,
       (select list(p.path order by p.path) from kept.document_paths p where p.sha256 = d.sha256) as paths,
       (select count(*) from kept.failed_pages f where f.sha256 = d.sha256) as failed_pages
from kept.documents d;

create view main.claims as
with told as (
    select c.claim_id, c.sha256, c.position, c.reasons, j.judged_by, j.judged_at, j.note,
           coalesce(j.verdict, c.state) as state, coalesce(j.correction, c.record)::json as r
    from kept.claims c left join kept.last_judgements j using (claim_id)
)
select t.claim_id, t.state, d.name as document, try_cast(r ->> 'page' as integer) as page,
       try_cast(r -> 'bbox' as double[]) as bbox, r ->> 'maker' as maker, r ->> 'part_code' as part_code,
       r ->> 'variant' as variant, r ->> 'part_kind' as part_kind, r ->> 'limit' as "limit",
       try_cast(r ->> 'low' as double) as low, try_cast(r ->> 'high' as double) as high,
       try_cast(r -> 'values' as double[]) as "values", r ->> 'text' as text, r ->> 'unit' as unit,
       nullif(r -> 'condition', 'null') as condition, r ->> 'snippet' as snippet, r ->> 'method' as method,
       try_cast(r ->> 'confidence' as double) as confidence, t.reasons::json as reasons, t.judged_by, t.judged_at,
       t.note, t.sha256 as document_sha256
from told t join kept.documents d using (sha256);

create view main.limits as
select part_kind, part_code, variant, maker, limit_key as "limit", try_cast(v ->> 'low' as double) as low,
       try_cast(v ->> 'high' as double) as high, try_cast(v -> 'values' as double[]) as "values", v ->> 'text' as text,
       v ->> 'unit' as unit, nullif(v -> 'condition', 'null') as condition, confidence,
       s -> 0 ->> 'document' as document, try_cast(s -> 0 ->> 'page' as integer) as page,
       s -> 0 ->> 'claim_id' as claim_id, s as sources, c as conflicts, code_key, variant_key
from (select *, value::json as v, sources::json as s, conflicts::json as c from kept.limits);

create view main.parts as
select part_kind, any_value(part_code) as part_code, any_value(variant) as variant, any_value(maker) as maker,
       count(distinct limit_key) as limits, code_key, variant_key
from kept.limits group by part_kind, code_key, variant_key;
