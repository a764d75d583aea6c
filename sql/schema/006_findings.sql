-- What the policy says about findings: when digits, pace and late entries are asked about, and levels of its own.

alter table policy add column pace_seconds integer;
alter table policy add column late_entry_days integer;
alter table policy add column question_days integer;

-- grain: one finding whose level the policy sets in one span of days. key: site_id, valid_from, rule
create table policy_finding_levels (
    site_id varchar not null,
    valid_from date not null,
    valid_to date not null,
    rule varchar not null,
    level varchar not null
);
