-- The days that an audit looks at, for the relations of sql/audit.
-- grain: one audit, in one row. site_id null: all sites. as_of: the night of what was known
create or replace temp table audit_period as
select
    $from_on::date as from_on,
    $to_on::date as to_on,
    $as_of::date as as_of,
    $site_id::varchar as site_id
