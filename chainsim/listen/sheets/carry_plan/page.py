"""The carry plan as a page: one HTML file without scripts that loads nothing, for the screen and for the printer."""

from __future__ import annotations

from chainsim.listen.sheets.carry_plan import rows
from chainsim.listen.sheets.carry_plan.plan import CarryPlan
from chainsim.listen.sheets.templates import filled

TEMPLATE = "carry_plan/page.html.j2"


def plan_page(plan: CarryPlan) -> str:
    """Lay the plan out as HTML, the board drawn to scale.

    Returns
    -------
    str
        A whole document. Every name in it is escaped.
    """
    letters_mm = 0.0 if plan.board_mm is None else max(8.0, min(18.0, plan.board_mm[0] / 38.0))
    return filled(TEMPLATE, plan=plan, words=rows, letters_mm=letters_mm)
