"""Whole-column computations on plain frames: reference tables, targets, t intervals, sample size, EC."""
