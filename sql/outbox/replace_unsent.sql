-- A newer letter takes the place of those to the same recipient about the same period that have not gone out, and of
-- what belongs to them (parts, copies): their content is that of their letter, a blank, and something more.
update letters
set state = 'replaced', changed_at = $now, remark = $remark
where
    site = $site
    and period = $period
    and state in ('pending', 'retry', 'failed')
    and exists (
        select 1
        from letters as older
        where
            older.report = $report
            and older.site = $site
            and older.period = $period
            and older.recipient = $recipient
            and older.content <> $content
            and (
                letters.letter_id = older.letter_id
                or substr(letters.content, 1, length(older.content) + 1) = older.content || ' '
            )
    )
