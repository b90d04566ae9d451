"""The rows of the evidence page: what others say, what the law gives, and what kind of evidence that is.

A row is evidence only where the law could have come out otherwise. `docs/made_by/fidelity.py` prints the tables.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import lru_cache

from tests.rubber import outside
from tests.rubber.motors import FIFTEEN_TO_ONE, KNOWN, KNOWN_MODEL
from winding_coach.base.units import OZF_IN_NM
from winding_coach.rubber.course import course_through, wind_along
from winding_coach.rubber.figures import Plan
from winding_coach.rubber.history import History, advance, relaxed
from winding_coach.rubber.law import DEFAULT_RUBBER, TRELOAR_RUBBER
from winding_coach.rubber.motor import before_the_wind, breaking_turns, geometry_of
from winding_coach.rubber.plan import make_plan

LOOP_M = KNOWN.loop_m
HOOKS_M = KNOWN_MODEL.hooks_m or 0.0
BODY = geometry_of(KNOWN)
SHARE = 1800 / 2024.935


class Kind(StrEnum):
    """What agreement of a row says.

    INDEPENDENT: the value was not used for the law, and the law could have missed it. DIRECTION: only which way.
    FITTED: the law was made to give it. CHOSEN: our own choice, which practice allows.
    """

    INDEPENDENT = "independent"
    DIRECTION = "independent, direction only"
    FITTED = "fitted"
    CHOSEN = "chosen"


@dataclass(frozen=True, slots=True)
class Row:
    """One comparison. says: what the source gives; law: what the law gives; verdict: how far they agree."""

    kind: Kind
    what: str
    says: str
    law: str
    verdict: str
    source: str


PRACTICE = "common practice, no source"


def ozf_in(torque_Nm: float) -> float:
    """Return a torque in ozf·in."""
    return torque_Nm / OZF_IN_NM


@lru_cache(maxsize=8)
def plan_of(use: int = 3, share: float = SHARE) -> Plan:
    """Return the plan of the motor of the check values."""
    return make_plan(replace(KNOWN, use=use, share=share), FIFTEEN_TO_ONE, KNOWN_MODEL)


def off(value: float, low: float, high: float | None = None) -> str:
    """Return how far a value is from a range, in words."""
    high = low if high is None else high
    if low <= value <= high:
        return "within"
    if abs(value / low - 1) < 0.0005:
        return "equal"
    return f"{value / (low if value < low else high) - 1:+.1%}"


def wound_at(distance_m: float, turns: float) -> History:
    """Return the motor wound at one distance, broken in, 18 turns a second."""
    course = course_through(BODY, distance_m, min(HOOKS_M, 0.99 * distance_m), turns, 1.01 * turns, 18)
    marks = wind_along(course, before_the_wind(BODY, 3, HOOKS_M), turns)
    return next(mark for mark in marks if mark.turns >= turns)


def straight_to(torque_Nm: float) -> float:
    """Return the turns at which a broken-in motor, wound at the hooks from the start, shows a torque."""
    now = relaxed(BODY, math.inf)
    while now.torque_Nm < torque_Nm:
        now = advance(BODY, now, HOOKS_M, now.turns + 2, 2 / 18)
    return now.turns


def faster() -> float:
    """Return torque over the plan's where one walks a tenth of the loop nearer than the plan at 1200 turns."""
    plan = plan_of()
    course = course_through(BODY, plan.stretch_distance_m, HOOKS_M, plan.stretched_turns, plan.target_turns, 18)
    now = next(m for m in wind_along(course, before_the_wind(BODY, 3, HOOKS_M), 1800) if m.turns >= 1200)
    return advance(BODY, now, now.distance_m - 0.1 * LOOP_M, now.turns, 0.5).torque_Nm / now.torque_Nm


def independent_rows() -> list[Row]:
    """Return what was not used for the law, the main job first."""
    return [*_twisted_rows(), *_pulled_rows(), *_material_rows()]


def _twisted_rows() -> list[Row]:
    kind, plan = Kind.INDEPENDENT, plan_of()
    work = [outside.langley_work_ft_lbf(n) for n in (50, 75, 100)]
    told = [outside.LANGLEY_FT_LBF[n] for n in (50, 75, 100)]
    straight = straight_to(OZF_IN_NM)
    walk = [ozf_in(row.torque_Nm) for row in plan.walk_in]
    mark, marks = outside.law_mark(BODY, HOOKS_M), outside.PUBLISHED_MARKS
    inch = breaking_turns(BODY, HOOKS_M) / 17.5
    writhe = outside.most_writhe(BODY)
    first, share = outside.DISCHARGE
    discharge = [outside.law_discharge(s, o) for s, o in ((0.9, 0.0), (0.9, 0.02), (0.8, 0.05))]
    return [
        Row(
            kind,
            "work given back by a twisted strip of 172 g after 50, 75, 100 twists",
            " / ".join(f"{w:.1f}" for w in told) + " ft·lbf",
            " / ".join(f"{w:.1f}" for w in work),
            f"{' / '.join(f'{a / b - 1:+.0%}' for a, b in zip(work, told, strict=True))}, hooks as far as it is long"
            f" (0.7 of that: {' / '.join(f'{outside.langley_work_ft_lbf(n, 0.7):.0f}' for n in (50, 75, 100))})",
            "Langley & Manly, Smithsonian Contributions to Knowledge 27 no. 3 (1911) 22",
        ),
        Row(
            kind,
            "exponent of that work in turns, 50 to 100",
            f"{math.log(told[2] / told[0], 2):.2f}",
            f"{math.log(work[2] / work[0], 2):.2f}",
            "agrees; not so between 50, 75 and 100 (measured 1.28 and 2.37)",
            "the same",
        ),
        Row(
            kind,
            "breaking turns, per length of loop times the root of the section",
            f"{marks.middle:g} ({marks.low:g} to {marks.high:g} for good rubber)",
            f"{mark:.2f}",
            f"within; {mark / marks.middle - 1:+.0%} of the middle",
            "G. Hinze, notes on breaking turns",
        ),
        Row(
            kind,
            "breaking turns an inch of loop",
            "100-110",
            f"{inch:.0f}",
            f"{off(inch, *outside.MARK_100_110)}; the strip is not said",
            "Indoor_Construction, 2011",
        ),
        Row(
            kind,
            "turns that tightly packed coils hold (a bound from below)",
            f"{writhe:.0f}",
            f"{breaking_turns(BODY, HOOKS_M):.0f} turns",
            f"above it; {1 - writhe / breaking_turns(BODY, HOOKS_M):.0%} would be twist, which the law does not split",
            "R. Morris, Free Flight Quarterly, April 2011",
        ),
        Row(
            kind,
            "turns when wound straight to 1.0 ozf·in",
            "about 1200",
            f"{straight:.0f}",
            off(straight, 1200),
            PRACTICE,
        ),
        Row(
            kind,
            "torque in the walk-in, from full stretch to the hooks",
            "hovers about 1.0 ozf·in",
            f"{walk[0]:.2f} to {walk[-1]:.2f} on the even path",
            f"**{walk[-1] - 1:+.0%}**, see below",
            PRACTICE,
        ),
        Row(
            kind,
            f"torque after {share:.0%} of the turns have run off, over the first that is shown",
            f"{first:.2f}",
            f"{discharge[0]:.2f}; {discharge[1]:.2f} to {discharge[2]:.2f} if 2 to 5 % were taken off before",
            "agrees only if the first value was read after a back-off, which is not said",
            "U. Alvarez, El arte del peanut scale, ch. 40",
        ),
        Row(
            Kind.DIRECTION,
            "walking in faster",
            "drops the torque",
            f"a tenth of the loop nearer: {faster() - 1:+.0%}",
            "agrees",
            PRACTICE,
        ),
    ]


def _pulled_rows() -> list[Row]:
    kind, pulled = Kind.INDEPENDENT, outside.PULLED
    law = outside.law_pull_Pa(pulled.stretch)
    low, high = (1e-6 * stress for stress in outside.BREAK_IN_STRESS_PA)
    reached = next(s / 100 for s in range(200, 1000) if outside.law_pull_Pa(s / 100) > pulled.stress_Pa)
    grown = outside.law_longer(9.0)
    return [
        Row(
            kind,
            f"nominal stress of motor rubber pulled to {pulled.stretch:.1f} lengths",
            f"{1e-6 * pulled.stress_Pa:.1f} MPa, and it held",
            f"{1e-6 * law:.1f} MPa, and half have broken",
            f"**{law / pulled.stress_Pa:.1f} times as much**, see below",
            "a test by the method of F. Pearce (Model Aviation, March 1979), written up in 2017",
        ),
        Row(
            kind,
            "stress to break a motor in with, and the stretch there",
            f"{low:.1f} to {high:.1f} MPa, near the end of the stretch",
            f"{1e-6 * pulled.stress_Pa:.1f} MPa at {reached:.1f} lengths",
            "the law reaches it early, as in the row above",
            "Indoor_Construction, 15 March 2007",
        ),
        Row(
            kind,
            "longer for good after breaking in",
            "{:.1%} to {:.1%}".format(*outside.LONGER_AFTER_BREAK_IN),
            f"{grown:.1%} after a wind to a strand stretch of 9",
            off(grown, *outside.LONGER_AFTER_BREAK_IN),
            "Indoor_Construction, 12 May 2015",
        ),
    ]


def _material_rows() -> list[Row]:
    kind, treloar, kawabata = Kind.INDEPENDENT, "treloar1944_biaxial.csv", "kawabata1981.csv"

    def rms(value: float) -> str:
        return f"{value:.1%} rms"

    rubber = outside.fitted_uniaxial(kawabata)
    plain = outside.fitted_uniaxial(kawabata, second_term=False)
    bare = replace(TRELOAR_RUBBER, second_term_Pa=0.0)
    rows = [
        Row(
            kind,
            f"form of the law: fitted to {fitted} along one direction, then asked for {asked}",
            "measured",
            rms(outside.misfit(law, file, asked)[0]),
            f"without its second term {rms(outside.misfit(without, file, asked)[0])}",
            source,
        )
        for fitted, law, without, file, source in (
            ("Treloar's rubber", TRELOAR_RUBBER, bare, treloar, "Treloar, Trans. Faraday Soc. 40 (1944) 59"),
            ("isoprene rubber", rubber, plain, kawabata, "Kawabata and others, Macromolecules 14 (1981) 154"),
        )
        for asked in ("pure shear", "equibiaxial")
    ]
    onset = outside.ONSET_OF_CRYSTALS
    begins, full = DEFAULT_RUBBER.hysteresis_from, DEFAULT_RUBBER.hysteresis_full
    rows.append(
        Row(
            kind,
            "stretch at which unloading begins to lose stress",
            f"{onset['pure shear']:g} in planar, {onset['uniaxial']:g} in uniaxial stretch (crystals)",
            f"{begins:g}, in full from {full:g} on",
            "**too early**; what that is worth stands below",
            "Hiraiwa and others, RSC Advances 13 (2023) d3ra07173a",
        )
    )
    return rows


def fitted_rows() -> list[Row]:
    """Return what the law was made to give, and what was chosen: how well one law can hold them all, no more."""
    fit, plan, first = Kind.FITTED, plan_of(), plan_of(use=1)
    stretched = [ozf_in(wound_at(x * LOOP_M, 900).torque_Nm) for x in (6.0, 6.5, 7.0)]
    breaks = breaking_turns(BODY, HOOKS_M)
    peak, new = ozf_in(plan.peak_torque_Nm), ozf_in(first.peak_torque_Nm)
    ends = plan.stretched_torque_Nm / plan.peak_torque_Nm
    return [
        Row(fit, "breaking turns", "2025", f"{breaks:.0f}", off(breaks, 2025), "break stretch"),
        Row(
            fit,
            "torque after 900 turns at 6, 6.5 and 7 loop lengths",
            "0.9-1.0 ozf·in",
            " / ".join(f"{t:.2f}" for t in stretched),
            " / ".join(off(t, 0.9, 1.0) for t in stretched),
            "μ and Jm",
        ),
        Row(
            fit,
            "torque at 1800 turns, hooks 15 in apart",
            "1.80-1.85 ozf·in",
            f"{peak:.3f} broken in, {new:.3f} new",
            f"{off(peak, 1.8, 1.85)}; **new {off(new, 1.8, 1.85)}**",
            "μ and Jm",
        ),
        Row(
            fit,
            "torque after backing off 45 turns",
            "0.95-1.0 ozf·in",
            f"{ozf_in(plan.launch_torque_Nm):.3f}",
            off(ozf_in(plan.launch_torque_Nm), 0.95, 1.0),
            "κ and d of the hysteresis",
        ),
        Row(
            fit,
            "torque at the end of the full-stretch part over the peak",
            "50-60 %",
            f"{ends:.0%}",
            off(ends, 0.5, 0.6),
            "follows from two rows above",
        ),
        Row(
            Kind.CHOSEN,
            "end of the full-stretch part over the target turns",
            "50-60 %",
            f"{plan.stretched_turns / plan.target_turns:.0%}",
            "",
            "by us, within practice",
        ),
        Row(
            Kind.CHOSEN,
            "back-off, turns of a 15:1 winder",
            "2-3 (an expert: none)",
            f"{plan.back_off_turns / 15:.1f}",
            "",
            "by us, within practice",
        ),
    ]
