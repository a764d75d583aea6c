-- Where pots were picked, worked out on whole columns outside SQL each night, as in 007.

-- grain: one site whose readings of the last weeks have their row on a mapped bench. key: site_id
-- expected: pots in the front row if each had been picked by lot; p: chance of so many or more; reason: why there is none
create table front_rows (
    site_id varchar not null,
    first_on date not null,
    pots integer not null,
    in_front integer not null,
    expected double not null,
    p double,
    reason varchar
);
