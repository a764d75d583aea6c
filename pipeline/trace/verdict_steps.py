"""How reasons that rest on one sampling's verdict came about: out, how clearly, in a row, and so to a level. Pure."""

from __future__ import annotations

from pipeline.trace.cells import places_of
from pipeline.trace.known import Known, Made, Row, last_lines, lines_of, plain


def out_steps(row: Row, known: Known) -> Made:
    """An out mean: the edge, the row that it stands in, the level; the lines of the last sampling that counts."""
    verdict = known.verdicts[row["quantity"]]
    steps = [*verdict_steps(verdict), *_row_steps(row, verdict, known), _level_step(row, verdict, known)]
    # biased pots decided where none was usable
    lines = last_lines(known, None if verdict["is_at_least"] else row["quantity"])
    return steps, lines


def verdict_steps(row: Row) -> list[str]:
    """How far a mean is beyond its edge, and whether that is clearly; a row of `verdicts` on the low or high side."""
    side = row["side"]
    edge, clear, action = (row[f"{what}{side}"] for what in ("", "clear_", "action_"))
    word, beyond = ("above", ">") if side == "high" else ("below", "<")
    mean = row["judged_mean"]
    steps = [f"mean {mean:.4f} is {abs(mean - float(edge)):.4f} {word} the edge {plain(edge)}"]
    if row["is_at_least"]:
        return [*steps, "judged from pots that lean the other way: out, never clearly"]
    if row["ci_low"] is not None:
        near = row["ci_low"] if side == "high" else row["ci_high"]
        steps.append(
            f"interval {row['ci_low']:.4f} to {row['ci_high']:.4f}: its near end {near:.4f} "
            f"{'lies' if row['is_interval_beyond'] else 'does not lie'} {word} {plain(edge)}; with the margin the edge "
            f"is {plain(clear)}, which the mean {'reaches' if row['is_beyond_margin'] else 'does not reach'}"
        )
    if action is not None:
        crossed = "yes" if row["is_threshold_crossed"] else "no"
        steps.append(f"published action threshold: mean {beyond} {plain(action)}? {crossed}")
    if row["is_inside_another"]:
        steps.append("inside another published range for the crop: out at most")
    return [*steps, f"so {row['verdict'].replace('_', ' ')}"]


def _row_steps(row: Row, verdict: Row, known: Known) -> list[str]:
    """The samplings that are out on one side in a row."""
    if row["in_a_row"] < 2:
        return []
    members = [
        one
        for one in known.figures
        if one["quantity"] == row["quantity"]
        and one["side"] == row["side"]
        and one["in_a_row"] > 0
        and one["purpose"] in ("routine", "retest")
        and row["since_on"] <= one["sampled_on"] <= verdict["sampled_on"]
    ]
    return [
        f"{one['in_a_row']} in a row: {one['sampled_on']}, mean {_mean_of(one)} "
        f"({places_of(lines_of(known, one['sampled_on'], [one['purpose']]))})"
        for one in sorted(members, key=lambda one: (one["sampled_on"], one["in_a_row"]))
    ]


def _mean_of(figure: Row) -> str:
    mean = figure["bound"] if figure["bound"] is not None else figure["mean"]
    return f"{mean:.4f}"


def _level_step(row: Row, verdict: Row, known: Known) -> str:
    """Which of the rules gave an out mean its level."""
    return f"{row['level'].replace('_', ' ')}: {_why_level(row, verdict, known)}"


def _why_level(row: Row, verdict: Row, known: Known) -> str:
    if verdict["is_low_ec_outside_active"]:
        return f"low EC asks for something in the active stage only, and the lot was {verdict['stage']}"
    if verdict["is_meter_in_doubt"] and row["level"] == "act":
        return (
            "the meter is in doubt, but the sampling before was clearly out by one that is not, so it stays"
        )
    if verdict["is_meter_in_doubt"]:
        return "the meter is in doubt, which never leads to act by itself"
    if row["quantity"] in known.hangs_on_one:
        return "one pot alone decides the side, which never leads to act by itself"
    in_a_row, asked = verdict["in_a_row"], verdict["act_in_a_row"]
    if row["level"] == "act" and verdict["verdict"] == "clearly_out":
        if row["quantity"] == "ec" and row["side"] == "low":
            far = "below" if verdict["is_ec_far_below"] else "not below"
            return f"clearly out, {far} {plain(verdict['ec_low_act'])} mS/cm, {in_a_row} in a row"
        return "clearly out"
    if row["level"] == "act":
        return f"{in_a_row} in a row (it takes {asked}), the last two beyond the edge by the margin"
    if verdict["verdict"] == "clearly_out":
        return f"low EC acts below {plain(verdict['ec_low_act'])} mS/cm or from the second in a row on"
    margin = "yes" if verdict["are_last_two_beyond_margin"] else "no"
    return f"out; {in_a_row} in a row where {asked} act, the last two beyond the edge by the margin: {margin}"


def very_high_steps(row: Row, known: Known) -> Made:
    """An EC in the published band very high or above."""
    verdict = known.verdicts["ec"]
    return [
        (
            f"mean {row['mean']:.4f} mS/cm beside {plain(verdict['ec_act_ms_cm'])}, where “very high” begins for the "
            "extraction method"
        )
    ], last_lines(known, None if verdict["is_at_least"] else "ec")


def affected_out_steps(row: Row, known: Known) -> Made:
    """Affected plants sampled apart and clearly out."""
    edge = row[row["side"]]
    steps = [
        (
            f"affected plants: mean {row['mean']:.4f}, interval {row['ci_low']:.4f} to {row['ci_high']:.4f}, beyond "
            f"the edge {plain(edge)} by {abs(row['mean'] - float(edge)):.4f}"
        )
    ]
    return steps, lines_of(known, row["sampled_on"], ["affected"], row["quantity"])


def pair_out_steps(row: Row, known: Known) -> Made:
    """A half of a pair around a feeding that is out on the side on which it is judged."""
    (verdict,) = [
        one for one in known.pairs if (one["quantity"], one["side"]) == (row["quantity"], row["side"])
    ]
    return [*verdict_steps(verdict), f"{row['level']}: {_why_pair_level(row, verdict)}"], lines_of(
        known, row["sampled_on"], [row["what"]], None if verdict["is_at_least"] else row["quantity"]
    )


def _why_pair_level(row: Row, verdict: Row) -> str:
    if verdict["is_low_ec_outside_active"]:
        return f"low EC asks for something in the active stage only, and the lot was {verdict['stage']}"
    if verdict["is_by_one_pot"]:
        return "one pot alone decides the side, which never leads to act by itself"
    if row["level"] == "act":
        return "clearly out, or EC very high"
    if verdict["verdict"] == "clearly_out" and (row["quantity"], row["side"]) == ("ec", "low"):
        return f"low EC before feeding acts below {plain(verdict['ec_low_act'])} mS/cm"
    if verdict["verdict"] == "clearly_out":
        return "the meter is in doubt, which never leads to act by itself"
    return "out; a pair around a feeding stands in no row"


def unread_steps(row: Row, known: Known) -> Made:
    """A lot that was not read lately, or never."""
    lot = known.lot
    if row["code"] == "never_counted":
        since, limit = lot["stands_from"], lot["first_within_days"]
        return [f"{lot['as_of']} - {since} = {row['days']} days; a first sampling within {limit}"], []
    grace = f" and {lot['grace_days']} days of grace" if lot["grace_days"] else ""
    return [
        f"{lot['as_of']} - {row['sampled_on']} = {row['days']} days; every {lot['interval_days']}{grace}"
    ], last_lines(known, None) if row["sampled_on"] == lot["last_counting_on"] else lines_of(
        known, row["sampled_on"], ["after_feed"]
    )


def close_steps(row: Row, known: Known) -> Made:
    """A mean inside whose interval crosses an edge."""
    return [
        (
            f"interval {row['ci_low']:.4f} to {row['ci_high']:.4f} beside {plain(row['low'])} to {plain(row['high'])}; "
            f"the mean {row['mean']:.4f} lies inside"
        )
    ], last_lines(known, row["quantity"])


def uneven_steps(row: Row, known: Known) -> Made:
    """A spread between pots above the policy's."""
    return [f"SD {row['mean']:.4f} beside the policy's {row['first_mean']:g}"], last_lines(
        known, row["quantity"]
    )


def one_pot_steps(row: Row, known: Known) -> Made:
    """A side that hangs on one pot."""
    lines = last_lines(known, row["quantity"])
    value = {"ph": "ph", "ec": "ec_25_ms_cm"}[row["quantity"]]
    odd = [line for line in lines if float(line[value]) == row["first_mean"]]
    return [
        (
            f"with the pot at {row['first_mean']:g} the mean is {row['mean']:.4f}, without it {row['ci_low']:.4f}: "
            f"another side of {plain(row['low'])} to {plain(row['high'])}"
        )
    ], odd
