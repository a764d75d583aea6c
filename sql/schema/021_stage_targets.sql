-- Own targets of one stage of a lot; null: of every stage.
alter table own_targets add column stage varchar;
