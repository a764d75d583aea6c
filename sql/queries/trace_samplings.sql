-- Samplings of one lot with their verdicts, oldest first.
-- grain: one quantity of one sampling. parameters: site_id, lot_key
select
    s.sampled_on,
    s.purpose,
    s.n_pots,
    s.min_pots,
    s.is_counting,
    s.proper,
    s.method,
    v.quantity,
    f.n,
    f.sum_x,
    f.mean,
    f.sd,
    f.is_sd_assumed,
    f.has_summary_line,
    f.ci_low,
    f.ci_high,
    v.low,
    v.high,
    t.source,
    t.how_known,
    t.basis,
    t.own_stage,
    t.ph_group,
    t.unused_group,
    t.unused_low,
    t.unused_high,
    v.stage,
    v.side,
    v.verdict,
    v.is_at_least,
    b.n as bound_pots,
    b.sum_x as bound_sum,
    v.is_inside_another,
    v.not_judged_why,
    coalesce(k.in_a_row, 0) as in_a_row
from samplings as s
inner join verdicts as v
    on s.site_id = v.site_id and s.lot_key = v.lot_key and s.sampled_on = v.sampled_on and s.purpose = v.purpose
inner join lot_targets as t
    on
        v.site_id = t.site_id
        and v.lot_key = t.lot_key
        and v.quantity = t.quantity
        and v.sampled_on >= t.valid_from
        and v.sampled_on < t.valid_to
left join sampling_figures as f
    on
        v.site_id = f.site_id
        and v.lot_key = f.lot_key
        and v.sampled_on = f.sampled_on
        and v.purpose = f.purpose
        and v.quantity = f.quantity
-- the pots that lean one way and decided all the same
left join biased_figures as b
    on
        v.is_at_least
        and v.site_id = b.site_id
        and v.lot_key = b.lot_key
        and v.sampled_on = b.sampled_on
        and v.purpose = b.purpose
        and b.leaning = if(v.side = 'high', 'reads_low', 'reads_high')
left join streaks as k
    on
        v.site_id = k.site_id
        and v.lot_key = k.lot_key
        and v.sampled_on = k.sampled_on
        and v.purpose = k.purpose
        and v.quantity = k.quantity
where s.site_id = $site_id and s.lot_key = $lot_key
order by s.sampled_on asc, s.purpose asc, v.quantity desc
