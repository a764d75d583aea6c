-- Records of a file follow each other without gap or overlap.
select file_id, record_no, 'does not start where the record before it ends' as remark
from (
    select
        file_id,
        record_no,
        line_from,
        lag(line_to, 1, 0) over (partition by file_id order by record_no) as line_before
    from records
)
where line_from <> line_before + 1
