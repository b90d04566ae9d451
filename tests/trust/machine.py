"""Winds that go anyhow, as a state machine for hypothesis: what the coach must never do is looked for in them."""

from __future__ import annotations

from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from tests.trust.winder import CASES, STARTS, Case, Guarded

SECONDS = st.sampled_from((0.1, 0.3, 0.6, 1.2, 2.6, 4.0))
SPOILS = ("no data", "saturated", "silent", "rubbish")


class AnyWind(RuleBasedStateMachine):
    """Chance turns the crank, walks, pulls the lead, presses keys. `cases`, `starts`: from where it may begin."""

    cases: tuple[Case, ...] = CASES
    starts: tuple[float, ...] = STARTS

    @initialize(data=st.data())
    def begin(self, data: st.DataObject) -> None:
        case = data.draw(st.sampled_from(self.cases))
        self.going = Guarded(case, data.draw(st.sampled_from(self.starts)))

    @rule(seconds=SECONDS, rev_per_s=st.sampled_from((0.0, 0.3, 1.3, 2.4, -1.2)))
    def crank(self, seconds: float, rev_per_s: float) -> None:
        self.going.wind.hands.rev_per_s = rev_per_s
        self.going.go_on(seconds)

    @rule(seconds=SECONDS, share=st.sampled_from((0.0, 0.25, 0.5, 1.0)))
    def walk(self, seconds: float, share: float) -> None:
        plan = self.going.wind.settings.plan
        hooks_m = plan.walk_in[-1].distance_m
        self.going.wind.hands.goal_m = hooks_m + share * (plan.stretch_distance_m - hooks_m)
        self.going.go_on(seconds)

    @rule(seconds=SECONDS, kind=st.sampled_from(SPOILS))
    def spoil(self, seconds: float, kind: str) -> None:
        self.going.wind.spoil = kind
        self.going.go_on(seconds)
        self.going.wind.spoil = ""

    @rule(seconds=SECONDS)
    def pull_the_lead(self, seconds: float) -> None:
        self.going.take(self.going.wind.plug(False))
        self.going.go_on(seconds)
        self.going.take(self.going.wind.plug(True))
        self.going.go_on(0.3)

    @rule(seconds=SECONDS)
    def reset(self, seconds: float) -> None:
        self.going.wind.bench.reset_meter(1.0)
        self.going.go_on(seconds)

    @rule(seconds=SECONDS)
    def crank_sensor_dies(self, seconds: float) -> None:
        self.going.crank_dies()
        self.going.go_on(seconds)

    @rule(hooked=st.booleans())
    def hook(self, hooked: bool) -> None:
        self.going.wind.hands.hooked = hooked
        self.going.go_on(0.3)

    @rule(key=st.sampled_from(("next", "tare", "count", "peak")))
    def press(self, key: str) -> None:
        self.going.press(key)
        self.going.go_on(0.3)

    @rule(seconds=st.sampled_from((1.0, 30.0, 3600.0)))
    def sleep(self, seconds: float) -> None:
        self.going.sleep(seconds)
        self.going.go_on(0.3)

    @invariant()
    def nothing_that_must_never_be(self) -> None:
        if hasattr(self, "going"):
            broken = self.going.guard.broken
            assert not broken, broken[:5]
