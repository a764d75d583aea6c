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
    facts,
    exists(
        select 1
        from attempts
        where attempts.letter_id = letters.letter_id and attempts.outcome = 'sent'
    ) as has_gone_out
from letters
where
    ($report is null or report = $report)
    and ($site is null or site = $site)
    and ($period is null or period = $period)
order by letter_id
