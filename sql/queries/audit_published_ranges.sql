-- Published ranges of the crops of the audited lots: a mean within another one is never clearly out.
-- grain: one published row of one crop and quantity. key: crop_key, quantity, row_no
select r.*
from published_ranges as r
where r.crop_key in (select crop_key from audit_lots)
order by r.crop_key, r.quantity, r.row_no
