"""The catalogue of findings as a page: python -m pipeline.settings.findings_page > pipeline/settings/FINDINGS.md"""

from __future__ import annotations

from pipeline.settings.findings import FINDINGS, REASONS

_ABOUT = {
    "line": "Lines",
    "file": "Files",
    "pot": "Pots",
    "sampling": "Samplings",
    "lot": "Lots",
    "meter": "Meters",
    "site": "Sites",
}


def write_page() -> str:
    """The catalogue as a Markdown page."""
    lines = [
        "# Findings",
        "",
        "Made by `python -m pipeline.settings.findings_page`; a test compares it with the code.",
        "",
        "A finding is one rule's remark. Levels: `hold` (a line is kept out until it can be used), `exclude` (kept,",
        "but out of one statistic), `warn`, `note`. Origins: P published, C common practice, H house default. Where",
        '*by policy* says yes, a `[[policy]]` table may set another level: `finding_levels = { one_bench = "off" }`.',
        "`off` silences the remark and changes no fact: with `slope_failed` off a check with a bad slope is still not",
        "accepted, its readings are in doubt, and their lots are at most WATCH. Limits of the policy say what is good.",
    ]
    for about, title in _ABOUT.items():
        rules = [rule for rule in FINDINGS if rule.about == about]
        if not rules:
            continue
        lines += [
            "",
            f"## {title}",
            "",
            "| name | level | by policy | rule | origin |",
            "|---|---|---|---|---|",
        ]
        lines += [
            f"| `{rule.name}` | {rule.level} | {'yes' if rule.is_settable else 'no'} | {rule.rule} | "
            f"{rule.origin}{f': {rule.source}' if rule.source else ''} |"
            for rule in rules
        ]
    lines += [
        "",
        "## Reasons of a lot",
        "",
        "Why a lot has its level. No policy sets these levels; the limits that they hang on are policy values.",
        "",
        "| name | levels | rule | origin |",
        "|---|---|---|---|",
    ]
    lines += [
        f"| `{one.name}` | {', '.join(one.levels)} | {one.rule} | "
        f"{one.origin}{f': {one.source}' if one.source else ''} |"
        for one in REASONS
    ]
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    print(write_page(), end="")  # noqa: T201
