"""A what-if as text: money, frost and moves before and after. Says that nothing was changed."""

from __future__ import annotations

from forecaster.report.plan_words import move_line
from forecaster.report.table import ascii_only, wrapped
from forecaster.report.words import clean, count, dollars, listed
from forecaster.route.what_if import PlanDifference

MOVES_SHOWN = 15


def what_if_text(found: PlanDifference, *, unicode: bool = True, width: int = 100) -> str:
    """The difference in a few lines, ending in a newline."""
    step = found.loss_after - found.loss_before
    how = (
        "no more and no less" if abs(step) < 0.5 else f"{dollars(abs(step))} {'more' if step > 0 else 'less'}"
    )
    lines = [
        f"What if: {clean(found.text)} (nothing is changed)",
        f"- Expected loss {dollars(found.loss_before)}, then {dollars(found.loss_after)}: {how}.",
    ]
    if found.caught_before is not None and found.caught_after is not None:
        lines.append(
            f"- Ponds open at their first hard freeze, 9 falls in 10: at most {found.caught_before}, "
            f"then {found.caught_after}."
        )
    new = [name for name in found.unplaced_after if name not in found.unplaced_before]
    if new:
        lines.append(f"- No crew-day left for {listed(clean(name) for name in new)}.")
    lines.append(
        f"- {count(len(found.moves), 'visit')} on another day." if found.moves else "- No visit moves."
    )
    lines += [f"  {move_line(move)}" for move in found.moves[:MOVES_SHOWN]]
    if len(found.moves) > MOVES_SHOWN:
        lines.append(f"  ... and {len(found.moves) - MOVES_SHOWN} more.")
    text = "\n".join(row for line in lines for row in wrapped(line, width=width, hanging="    ")) + "\n"
    return text if unicode else ascii_only(text)
