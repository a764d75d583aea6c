-- Grubbs' test of a sampling's pots beside the modified z-score: null below seven pots and where all are alike.
alter table outlier_figures add column grubbs_g double;
alter table outlier_figures add column grubbs_critical double;
