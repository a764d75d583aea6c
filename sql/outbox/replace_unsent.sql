-- A newer letter takes the place of those to the same recipient about the same period that have not gone out.
update letters
set state = 'replaced', changed_at = $now, remark = $remark
where
    report = $report
    and site = $site
    and period = $period
    and recipient = $recipient
    and content <> $content
    and state in ('pending', 'retry', 'failed')
