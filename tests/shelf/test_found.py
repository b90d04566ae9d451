"""What a wind found: rest since its motor's last wind, and the age of its rubber."""

from __future__ import annotations

from datetime import timedelta

from tests.shelf.examples import FIRST, a_wind
from winding_coach.shelf.found import Found, found_by
from winding_coach.shelf.records import Batch, Motor, Wind

AMBER = Batch("amber", received="2026-01-10")
MOTORS = [Motor("th-07", 0.3, 1.4e-3, batch="amber", made="2026-02-01"), Motor("th-08", 0.3, 1.4e-3, made="2026-03-01")]


def wound(number: int, hours: float, motor: str | None = "th-07", **more: object) -> Wind:
    started = (FIRST + timedelta(hours=hours)).isoformat()
    return a_wind(number, motor, started=started, **({"duration_s": 120.0, "batch": None} | more))


def test_rest_is_from_the_end_of_the_last_wind_of_that_motor() -> None:
    winds = [wound(3, 24.0, "TH-07"), wound(1, 0.0), wound(2, 1.0), wound(4, 2.0, "th-08"), wound(5, 3.0, None)]
    found = found_by(winds, MOTORS, [AMBER])
    rests = [found[a_wind(number).id].rest_s for number in (1, 2, 3, 4, 5)]
    assert rests == [None, 3480.0, 82680.0, None, None]


def test_a_simulated_wind_is_no_wind_of_the_real_motor() -> None:
    winds = [wound(1, 0.0), wound(2, 1.0, simulated=True), wound(3, 2.0)]
    found = found_by(winds, MOTORS, [AMBER])
    assert [found[one.id].rest_s for one in winds] == [None, None, 7080.0]


def test_rubber_is_as_old_as_its_batch_else_as_its_motor() -> None:
    # 7 March 2026 is 56 days after 10 January and 6 after 1 March.
    winds = [wound(1, 0.0), wound(2, 0.0, "th-08"), wound(3, 0.0, "th-08", batch="Amber"), wound(4, 0.0, "th-99")]
    found = found_by(winds, MOTORS, [AMBER])
    assert [found[one.id].rubber_age_days for one in winds] == [56, 6, 56, None]
    assert found_by(winds[:1], MOTORS, [Batch("amber", received="2026-12-24")])[winds[0].id] == Found()
