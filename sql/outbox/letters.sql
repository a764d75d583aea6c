-- Letters, oldest first, without their messages: all, or those of one report, site and period (null: any).
select
    letter_id,
    report,
    site,
    period,
    recipient,
    content,
    message_id,
    subject,
    state,
    created_at,
    changed_at,
    due_at,
    attempts,
    code,
    remark,
    size_bytes,
    facts
from letters
where
    ($report is null or report = $report)
    and ($site is null or site = $site)
    and ($period is null or period = $period)
order by letter_id
