"""A wind that is over in, what became of it out: by the truth, never by what the coach believes."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

from tests.bench.walkers.motor import LAWS, WalkedMotor
from tests.bench.walkers.winding import HOOKS_M, SETTINGS, TICK_S, Truth, Wound, plan_of
from winding_coach.coach.said import Phase

Row = dict[str, Any]

EVEN_TURNS_PER_S = 12.0
AT_HOOKS_M, FAR_OUT_M = 0.05, 0.15
STILL_REV_PER_S = 0.1
NEAR, LEFT_STRETCH = 0.90, 0.93
TURNED_BACK = 3.0
"""Turns under the most so far that make a back-off."""
STOP_LATELY_S = 6.0


@lru_cache(maxsize=64)
def even_risk(label: float = 1.0) -> dict[str, float]:
    """Return the chance to break on the plan's own way, evenly cranked and walked, by law."""
    figures, plan, path = plan_of(label)
    motor = WalkedMotor(figures, torque_scale=1.0, hooks_m=HOOKS_M)
    for number in range(1, 201):
        motor.move(0.0, figures.loop_m + (plan.stretch_distance_m - figures.loop_m) * number / 200, TICK_S)
    turns = 0.0
    while turns < plan.target_turns:
        turns = min(turns + EVEN_TURNS_PER_S * TICK_S, plan.target_turns)
        motor.move(turns, path.distance_at(turns), TICK_S)
    return {law: motor.risk(law) for law in LAWS}


def judged(wound: Wound) -> Row:
    """Return the figures of a wind."""
    drawn, plan = wound.drawn, wound.plan
    launch = None if wound.launch_Nm is None else wound.launch_Nm / SETTINGS.plan.launch_torque_Nm
    turns = wound.peak_turns / plan.target_turns
    causeless = phases_without_cause(wound)
    warned = [
        word["code"]
        for word, truth in wound.heard
        if word["event"] == "alarm" and word["active"] and word["level"] in ("warning", "danger")
        if truth.hooked and truth.turns > 20.0
    ]
    even = even_risk(drawn.label)
    fine = (
        not wound.meant
        and drawn.label_right
        and abs(turns - 1.0) <= 0.02
        and wound.risk["A"] <= even["A"] + 0.02
        and launch is not None
        and abs(launch - 1.0) <= 0.05
    )
    return {
        "feet": drawn.walker.feet,
        "wills": sorted(drawn.walker.wills),
        "label_right": drawn.label_right,
        "hears": drawn.walker.hears,
        "can_walk": drawn.walker.can_walk,
        "meant": wound.meant,
        **{f"risk {law}": round(wound.risk[law], 5) for law in LAWS},
        **{f"even {law}": round(even[law], 5) for law in LAWS},
        "turns": round(turns, 5),
        "launch": None if launch is None else round(launch, 4),
        "followed": followed(wound),
        "causeless": causeless,
        "warned": warned,
        "fine": fine,
        "off_path": round(wound.off_path_s / wound.walked_s, 4) if wound.walked_s else None,
        "standing_s": round(wound.standing_s, 2),
        "walked_s": round(wound.walked_s, 2),
        "lasted_s": round(wound.lasted_s, 2),
        "left": wound.ended,
    }


def followed(wound: Wound) -> bool | None:
    """Whether the coach came to ready once the back-off was over, with the true peak and launch in its summary.

    None where nothing was launched, or nobody coached.
    """
    if wound.cell.led != "coach" or wound.launch_Nm is None:
        return None
    ready = [truth for word, truth in wound.heard if word["event"] == "phase" and word["phase"] == Phase.READY]
    summary = next((word for word, _ in wound.heard if word["event"] == "summary"), None)
    if not ready or summary is None or ready[-1].stage not in ("stopped", "backing", "holding"):
        return False
    peak_Nm, launch_Nm = summary["peak_torque_mNm"], summary["launch_torque_mNm"]
    right = peak_Nm is not None and abs(1e-3 * peak_Nm / wound.peak_Nm - 1.0) <= 0.05
    right = right and launch_Nm is not None and abs(1e-3 * launch_Nm / wound.launch_Nm - 1.0) <= 0.05
    if "c" in wound.cell.channels and not wound.drawn.turns_in and summary["peak_turns"] is not None:
        right = right and abs(summary["peak_turns"] / wound.peak_turns - 1.0) <= 0.05
    return bool(right)


def phases_without_cause(wound: Wound) -> list[str]:
    """Return the phases that were entered while the truth contradicted them."""
    found: list[str] = []
    top_turns = 0.0
    unhooked = False
    stop_s = -100.0
    for word, truth in wound.heard:
        top_turns = max(top_turns, truth.turns)
        unhooked = unhooked or (not truth.hooked and truth.turns > 20.0)
        if word["event"] == "prompt" and word["code"] == "stop_at_peak":
            stop_s = truth.at_s
        if word["event"] != "phase":
            continue
        phase = word["phase"]
        turned_back = truth.turns < top_turns - TURNED_BACK
        ended = truth.stage in ("stopped", "backing", "holding", "gone") or turned_back
        if not _has_cause(phase, truth, wound, ended, truth.at_s - stop_s < STOP_LATELY_S, unhooked):
            found.append(phase)
    return found


def _has_cause(phase: str, now: Truth, wound: Wound, ended: bool, told_to_stop: bool, unhooked: bool) -> bool:
    plan = wound.plan
    at_hooks = now.distance_m <= HOOKS_M + AT_HOOKS_M
    near_peak = now.turns >= 0.97 * plan.target_turns or now.torque_Nm >= NEAR * plan.peak_torque_Nm
    if phase == Phase.WIND_STRETCHED:
        return now.turns > 5.0 or now.stage == "winding"
    if phase == Phase.WALK_IN:
        left = now.distance_m < LEFT_STRETCH * SETTINGS.plan.stretch_distance_m
        wound_enough = now.turns >= 0.85 * plan.stretched_turns
        return left or wound_enough or now.torque_Nm >= NEAR * plan.stretched_torque_Nm
    if phase == Phase.FINAL_TURNS:
        return now.distance_m <= HOOKS_M + FAR_OUT_M
    if phase == Phase.BACK_OFF:
        return ended or ((near_peak or told_to_stop) and now.distance_m <= HOOKS_M + FAR_OUT_M)
    if phase == Phase.READY:
        return ended and (at_hooks or now.distance_m <= HOOKS_M + FAR_OUT_M)
    if phase == Phase.BROKEN:
        return wound.broken or unhooked or not now.hooked
    if phase == Phase.DONE:
        return not now.hooked
    return True
