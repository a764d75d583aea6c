-- Policy values that measures take, in force on the as-of date.
-- grain: one site. key: site_id
-- inputs: policy, run
select
    p.site_id,
    p.outlier_ph::double as outlier_ph,
    p.outlier_ec_ms_cm::double as outlier_ec,
    p.precision_ph::double as precision_ph,
    p.precision_ec_ms_cm::double as precision_ec,
    p.step_ph::double as step_ph,
    p.step_ec_ms_cm::double as step_ec,
    p.summary_ph_sd::double / sqrt(5) as least_sigma_ph,
    p.summary_ec_sd_ms_cm::double / sqrt(5) as least_sigma_ec,
    p.trend_samplings,
    p.feed_tolerance_share::double as feed_tolerance_share
from policy as p
cross join run as t
where t.as_of >= p.valid_from and t.as_of < p.valid_to
order by p.site_id
