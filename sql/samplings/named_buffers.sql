-- The buffers that the cell of a check names, read only where the cell can be read in one way.
-- grain: one calibration line whose cell of buffers holds a figure. key: file_id, record_no
-- inputs: calibration_lines
-- labels: pH in the order of the cell; null where it was left unread: it can be read two ways, or holds what is no buffer.
-- rules (house default): a comma beside a blank separates, a comma before a 0 is a decimal mark (no list has the figure 01).
-- Any other comma is read both ways, and a way in which a figure is badly written or above pH 14 is none. Where both ways
-- are left, whole numbers that are all buffers of the usual sets (4, 7, 10) are a list: nobody sells a buffer 4,7. Else
-- the cell is not read. Nor is 4.7, a point being no separator; nor a cell with words beside figures, which may be a number
-- of points, a lot or a temperature.
with
texts as (
    select
        file_id,
        record_no,
        buffers,
        regexp_replace(
            regexp_replace(
                regexp_replace(lower(buffers), 'buffers?|puffer|tamp(?:o|ó)n(?:es|s)?|ph|and|und|et|en|y', ' ', 'g'),
                '\s*,\s+|\s+,',
                ' ',
                'g'
            ),
            '(\d),(0)',
            '\1.\2',
            'g'
        ) as text
    from calibration_lines
    where regexp_matches(buffers, '\d')
),

ways as (
    select
        *,
        regexp_full_match(text, '[\d.,;:/|+&()\s–-]*')
        and not regexp_matches(text, '(?:^|[^\d.,])(?:4|7|10)\.(?:4|7|10)(?:$|[^\d.,])') as is_plain,
        regexp_extract_all(text, '\d+(?:\.\d+)*') as by_list,
        regexp_extract_all(replace(text, ',', '.'), '\d+(?:\.\d+)*') as by_decimals
    from texts
),

told as (
    select
        *,
        len(list_filter(
            by_list, lambda figure: not regexp_full_match(figure, '(?:[1-9]|1[0-4])(?:\.\d{1,3})?')
        )) = 0 as is_list,
        len(list_filter(
            by_decimals, lambda figure: not regexp_full_match(figure, '(?:[1-9]|1[0-4])(?:\.\d{1,3})?')
        )) = 0 as is_decimals,
        len(list_filter(
            by_list, lambda figure: not contains(figure, '.') and figure not in ('4', '7', '10')
        )) = 0 as is_usual
    from ways
)

select
    file_id,
    record_no,
    buffers,
    case
        when not is_plain then null
        when is_list and (by_list = by_decimals or not is_decimals or is_usual) then by_list
        when is_decimals and not is_list then by_decimals
    end::decimal(6, 3)[] as labels
from told
