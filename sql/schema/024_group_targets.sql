-- A chosen range that is a group's: the pH group or the feeding level among which the policy counts the crop, and the pH group
-- for the action thresholds. Null: the range is printed for the crop itself.
alter table chosen_targets add column group_name varchar;
alter table chosen_targets add column ph_group varchar;
