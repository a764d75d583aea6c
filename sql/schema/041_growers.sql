-- Who answers for a site's lots by its settings. Emptied and filled each night before the models are built.

-- grain: one house of one head grower, or all houses of the site where house_key is null. key: site_id, grower_id, house_key
create table grower_houses (
    site_id varchar not null,
    grower_id varchar not null,
    grower_name varchar not null,
    house_key varchar
);
