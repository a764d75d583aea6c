-- Every file of the evidence: what came when, by its hash, with its lines by fate.
-- grain: one file. key: file_id
with
fates as (
    select
        file_id,
        coalesce(sum(lines) filter (where fate = 'accepted'), 0)::integer as accepted,
        coalesce(sum(lines) filter (where fate = 'held'), 0)::integer as held,
        coalesce(sum(lines) filter (where fate = 'repeated'), 0)::integer as repeated,
        coalesce(sum(lines) filter (where fate = 'superseded'), 0)::integer as superseded,
        coalesce(sum(lines) filter (where fate = 'withdrawn'), 0)::integer as withdrawn,
        coalesce(sum(lines) filter (where fate = 'not_data'), 0)::integer as not_data
    from record_fates
    group by file_id
)

select
    f.file_id,
    f.site_id,
    f.kind,
    f.name,
    f.sha256,
    f.size_bytes,
    f.received_on,
    f.modified_at,
    f.lines,
    coalesce(x.accepted, 0)::integer as accepted,
    coalesce(x.held, 0)::integer as held,
    coalesce(x.repeated, 0)::integer as repeated,
    coalesce(x.superseded, 0)::integer as superseded,
    coalesce(x.withdrawn, 0)::integer as withdrawn,
    coalesce(x.not_data, 0)::integer as not_data,
    f.problem
from files as f
cross join audit_period as p
left join fates as x on f.file_id = x.file_id
where p.site_id is null or f.site_id = p.site_id
order by f.file_id
