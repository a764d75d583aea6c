-- EC beyond the edge is clearly out from this many mS/cm on, where the share of the edge is less: low and narrow targets.
alter table policy add column clear_margin_ec_low_ms_cm decimal(9, 4);
alter table policy add column clear_margin_ec_high_ms_cm decimal(9, 4);
