-- Which version of a line rules: the first appearance of a line stays, later ones repeat it, newer lines supersede it.
-- grain: one data record of a file that could be read as a whole. key: file_id, record_no
-- inputs: files, file_order, records, line_appearances, line_keys, left_lines, changed_lines
-- rule (ours): a line that the newest file of a cumulative export no longer holds was withdrawn; where lines have a key, the
-- version seen last rules; a line that gave way to a later increment of its name is no version any more; without a key one
-- that was changed where it stood is superseded by what stands there now.
-- line_file_id, line_record_no: where the line stays; ruling_*: the line that superseded it
with
newest_files as (
    select
        f.site_id,
        f.kind,
        f.export_no,
        max(o.order_no) as order_no
    from files as f
    inner join file_order as o on f.file_id = o.file_id
    where f.problem is null
    group by f.site_id, f.kind, f.export_no
),

-- One number tells which of two appearances came later: that of the newer file, in one file the lower one.
seen as (
    select
        a.line_file_id as file_id,
        a.line_record_no as record_no,
        max(o.order_no) as last_order_no,
        max(o.order_no * 10000000000 + a.record_no) as last_seen
    from line_appearances as a
    inner join file_order as o on a.file_id = o.file_id
    group by a.line_file_id, a.line_record_no
),

keyed as (
    select
        s.file_id,
        s.record_no,
        s.last_order_no,
        s.last_seen as last_seen_at_all,
        f.site_id,
        f.kind,
        f.export_no,
        f.mode,
        list_filter(from_json(f.layout, '["VARCHAR"]'), lambda name: name is not null) as columns_read,
        coalesce(r.content, r.text) as content,
        r.nth,
        n.order_no as newest_order_no,
        e.version as left_version,
        e.ruling_file_id as left_to_file_id,
        e.ruling_record_no as left_to_record_no,
        c.ruling_file_id as changed_to_file_id,
        c.ruling_record_no as changed_to_record_no,
        if(e.line_file_id is null, s.last_seen, null) as last_seen,
        k.line_key
    from seen as s
    inner join records as r on s.file_id = r.file_id and s.record_no = r.record_no
    inner join files as f on s.file_id = f.file_id
    inner join newest_files as n on f.site_id = n.site_id and f.kind = n.kind and f.export_no = n.export_no
    inner join line_keys as k on s.file_id = k.file_id and s.record_no = k.record_no
    left join left_lines as e on s.file_id = e.line_file_id and s.record_no = e.line_record_no
    left join changed_lines as c on s.file_id = c.line_file_id and s.record_no = c.line_record_no
),

lines as (
    select
        *,
        -- lines of one key that say the same are one version, however often a file holds them
        max(last_seen) over (
            partition by site_id, kind, line_key, export_no, columns_read, content
        ) as text_last_seen
    from keyed
),

ruled as (
    select
        *,
        max(text_last_seen) over same_key as key_last_seen,
        arg_max(file_id, if(nth = 1, text_last_seen, null)) over same_key as key_file_id,
        arg_max(record_no, if(nth = 1, text_last_seen, null)) over same_key as key_record_no
    from lines
    window same_key as (partition by site_id, kind, line_key)
),

judged as (
    select
        *,
        case
            when line_key is not null and nth > 1 then 'repeated'
            -- what has its key in a later file was corrected there
            when
                line_key is not null
                and last_seen_at_all < key_last_seen
                and coalesce(text_last_seen <> key_last_seen, true)
                then 'superseded by key'
            when left_version = 'superseded' then 'superseded by leaving'
            when left_version is not null then 'withdrawn'
            when mode = 'cumulative' and last_order_no < newest_order_no
                then if(line_key is null and changed_to_file_id is not null, 'superseded by change', 'withdrawn')
            else 'current'
        end as outcome
    from ruled
)

select
    a.file_id,
    a.record_no,
    j.site_id,
    j.kind,
    j.export_no,
    j.line_key,
    case
        when a.file_id <> j.file_id or a.record_no <> j.record_no then 'repeated'
        else split_part(j.outcome, ' ', 1)
    end as version,
    j.file_id as line_file_id,
    j.record_no as line_record_no,
    case j.outcome
        when 'superseded by key' then j.key_file_id
        when 'superseded by leaving' then j.left_to_file_id
        when 'superseded by change' then j.changed_to_file_id
    end as ruling_file_id,
    case j.outcome
        when 'superseded by key' then j.key_record_no
        when 'superseded by leaving' then j.left_to_record_no
        when 'superseded by change' then j.changed_to_record_no
    end as ruling_record_no
from line_appearances as a
inner join judged as j on a.line_file_id = j.file_id and a.line_record_no = j.record_no
