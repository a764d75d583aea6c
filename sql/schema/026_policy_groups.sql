-- The pH group or feeding level among which the policy counts a crop, with its range, whether the range is the chosen one or not.
-- Null: the policy counts the crop among none.
alter table chosen_targets add column policy_group varchar;
alter table chosen_targets add column policy_low decimal(9, 4);
alter table chosen_targets add column policy_high decimal(9, 4);
