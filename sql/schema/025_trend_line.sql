-- Value of a trend's line on its last day, in the unit of the means: where a chart's forecast sets out. Null below four samplings.
alter table trends add column last_fit double;
