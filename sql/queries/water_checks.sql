-- Checks of source water and feed that tonight's judgement takes, each with its words.
-- grain: one check of a site. key: site_id, file_id, record_no
-- units: EC mS/cm at 25 °C, alkalinity mg/L CaCO3
-- words: by container class for source water (`in_range` only where no class is off), one for a hose end; empty: not judged
with
taken as (
    select
        site_id,
        file_id,
        record_no
    from judged_waters
    union
    select
        site_id,
        water_file_id,
        water_record_no
    from judged_feeds
    where water_file_id is not null
    union
    select
        site_id,
        file_id,
        record_no
    from judged_feeds
),

water_words as (
    select
        site_id,
        file_id,
        record_no,
        list_sort(list(distinct word) filter (where word <> 'in_range')) as off,
        bool_or(word = 'in_range') as is_in_range
    from judged_waters
    group by site_id, file_id, record_no
)

select
    f.site_id,
    f.file_id,
    f.record_no,
    f.checked_on,
    f.place,
    coalesce(f.injector, f.house) as spot,
    f.ec_25_ms_cm::double as ec_ms_cm,
    f.alkalinity_mg_l::double as alkalinity_mg_l,
    j.target_ec_ms_cm,
    j.water_on,
    j.water_ec_ms_cm,
    case
        when j.hose_ec_ms_cm < j.water_ec_ms_cm then ['below_water']
        when j.word is not null then [j.word]
        when w.off is not null then w.off
        when w.is_in_range then ['in_range']
        else []::varchar[]
    end as words
from taken as t
inner join feed_checks as f on t.site_id = f.site_id and t.file_id = f.file_id and t.record_no = f.record_no
left join judged_feeds as j on t.site_id = j.site_id and t.file_id = j.file_id and t.record_no = j.record_no
left join water_words as w on t.site_id = w.site_id and t.file_id = w.file_id and t.record_no = w.record_no
order by f.site_id asc, f.place desc, spot asc, f.checked_on asc, f.file_id asc, f.record_no asc
