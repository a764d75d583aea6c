-- A letter that is no longer true before it went out, and what belongs to it: a message that says the same as tonight's
-- facts has gone out before it.
update letters
set state = 'replaced', changed_at = $now, remark = $remark
where
    site = $site
    and period = $period
    and state in ('pending', 'retry', 'failed')
    and (
        (report = $report and recipient = $recipient and content = $content)
        or substr(content, 1, length($content) + 1) = $content || ' '
    )
