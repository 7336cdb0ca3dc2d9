-- What photos of parts say: one row for each photo, or for each set of photos that were said to show one part.
-- "record" is the reading as JSON; "box" and "place" say where on the photo "sha256" it was read; "codes" stands for the
-- list of codes against which it was weighed; "photos" lists every photo that took part, as objects of file and sha256.

create table kept.stamps (
    reading_id varchar not null primary key,
    sha256     varchar not null,
    code_key   varchar not null,
    record     varchar not null,
    place      varchar,
    photos     varchar not null,
    codes      varchar not null,
    reader     varchar not null,
    read_at    timestamp not null
);

-- Documents that are photos of parts and not of pages.
create table kept.part_photos (sha256 varchar not null);

create view main.stamps as
select reading_id, r ->> 'file' as photo, r ->> 'code' as code, r ->> 'variant' as variant,
       try_cast(r -> 'teeth' as integer[]) as teeth, try_cast(r ->> 'confidence' as double) as confidence,
       r -> 'candidates' as candidates, try_cast(r -> 'bbox' as double[]) as bbox, r ->> 'advice' as advice,
       photos::json as photos, reader, read_at, sha256 as photo_sha256, code_key
from (select *, record::json as r from kept.stamps);
