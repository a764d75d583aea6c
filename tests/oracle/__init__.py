"""A second, slow and obvious computation of every number in `summary.json`, from the raw CSV files.

It shares no code with the product and uses the standard library alone: `csv` tables are read by hand,
arithmetic is exact (`fractions`), the t quantile is found by bisection. Each rule is one small function
with the rule in its docstring, so that a reader can hold it against the policy. Where the two differ, one
of them is wrong.
"""
