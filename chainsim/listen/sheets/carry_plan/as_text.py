"""The carry plan in characters, at most 80 to a line."""

from __future__ import annotations

from collections.abc import Sequence

from chainsim.listen.sheets.carry_plan import rows
from chainsim.listen.sheets.carry_plan.plan import CarryPlan
from chainsim.listen.sheets.text_table import text_table, wrapped

WIDTH = 80


def plan_text(plan: CarryPlan) -> str:
    """Lay the plan out as text: what to carry, what it comes to, what goes where.

    Returns
    -------
    str
        Lines of at most 80 characters, without trailing blanks.
    """
    title = wrapped(f"{plan.title}: what to carry", WIDTH)
    rule = "=" * max(map(len, title.splitlines()))
    told = [wrapped(rows.head_line(plan), WIDTH), wrapped(f"Chosen: {rows.chosen_text(plan)}", WIDTH)]
    alarms = [wrapped(f"! {line}", WIDTH, "  ") for line in rows.alarms(plan)]
    cautions = [wrapped(line, WIDTH, "  ") for line in plan.cautions]
    parts = ["\n".join([title, rule, *told, *alarms]), *_lost(plan), *_carried(plan), *_power(plan), *_board(plan)]
    return "\n\n".join([*parts, *_patches(plan), *_others(plan), "\n".join(cautions)])


def _section(name: str, head: Sequence[str], lines: Sequence[Sequence[str]]) -> list[str]:
    return [f"{name}\n{text_table(head, lines, WIDTH)}"] if lines else []


def _lost(plan: CarryPlan) -> list[str]:
    lines = [(p.name if k == 0 else "", reason) for p in plan.lost for k, reason in enumerate(rows.reason_lines(p))]
    return _section("Cannot be made", ("patch", "why"), lines)


def _carried(plan: CarryPlan) -> list[str]:
    lines = []
    for item in plan.carried:
        work = rows.work_lines(item, plan) or [""]
        lines.append((item.name, rows.mass_text(item), rows.price_text(item, plan), work[0]))
        lines += [("", "", "", line) for line in work[1:]]
    totals = [(total.what, rows.total_text(total)) for total in plan.totals]
    carried = _section("Carry", ("what", "mass", "price", "makes"), lines)
    return [*carried, *_section("In all", ("what", "comes to"), totals)] if plan.carried else []


def _power(plan: CarryPlan) -> list[str]:
    lines = [
        (
            f"{f.supply}, {f.outlet}",
            f.box,
            f"{f.voltage_v:g} V {f.current}",
            f.polarity,
            f"{f.draws_ma:g} of {f.gives_ma:g}",
        )
        for f in plan.feeds
    ]
    others = [("-", box, rows.unplugged_text(power), "", "") for box, power in plan.unplugged]
    return _section("Power", ("outlet", "feeds", "at", "plug", "mA"), [*lines, *others])


def _board(plan: CarryPlan) -> list[str]:
    lines = [
        (
            laid.name,
            f"{laid.place.left_mm:g}",
            f"{laid.place.front_mm:g}",
            f"{laid.place.width_mm:g} x {laid.place.depth_mm:g}{' turned' if laid.place.turned else ''}",
        )
        for laid in sorted(plan.layout, key=lambda laid: (laid.place.front_mm, laid.place.left_mm))
    ]
    head = ("what", "from the left", "from the front", "wide x deep")
    board = _section(f"On the board, {rows.board_text(plan)}", head, lines)
    return [*board, wrapped(f"Not on the board: {', '.join(plan.beside)}", WIDTH, "  ")] if plan.beside else board


def _patches(plan: CarryPlan) -> list[str]:
    lines = [(patch.name, f"{patch.latency_ms:g} ms", rows.patch_text(patch)) for patch in plan.made]
    return _section("Patches", ("patch", "late by", "through"), lines)


def _others(plan: CarryPlan) -> list[str]:
    bring = [wrapped(f"Pedals to bring: {', '.join(plan.pedals)}", WIDTH, "  ")] if plan.pedals else []
    not_made = [wrapped(f"Made elsewhere: {', '.join(plan.elsewhere)}", WIDTH, "  ")] if plan.elsewhere else []
    without = _section(
        "If one is gone", ("without", "what is left"), [(s.name, rows.spare_text(s, plan)) for s in plan.spares]
    )
    left = _section("Stays at home", ("what", "why"), [(item.name, item.reason) for item in plan.left])
    together = ["\n".join([*bring, *not_made])] if bring or not_made else []
    return [*together, *without, *left]
