-- How much more a high EC weighs in the order of lots while a lot is finishing: multiplies its distance.
alter table policy add column finishing_high_ec_weight decimal(6, 3);
