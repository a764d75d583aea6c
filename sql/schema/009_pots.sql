-- Whether pots are numbered can be left to the file itself.

-- numbers_pots: null where the settings do not say it; then the numbers tell it (see repeated_pots).
alter table files alter column numbers_pots drop not null;
