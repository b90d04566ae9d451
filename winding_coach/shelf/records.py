"""What the shelf keeps: one frozen record a kind, SI throughout, `None` for not known.

Names are the keys that people type; a wind's and a flight's key is a UUID. Moments are ISO 8601 with offset.
"""

from dataclasses import dataclass

from winding_coach.base.wind_values import WindValues

PURPOSES = ("test", "trim", "official")
"""What a wind is for; a test wind goes to 50-70 % of the breaking turns (common practice, no source)."""
FLIGHT_KINDS = ("test", "trim", "official")


@dataclass(frozen=True, slots=True)
class Batch:
    """One delivery of rubber strip. `densities_kg_per_m`: measured linear densities of single strips cut from it."""

    name: str
    received: str | None = None  # a date
    densities_kg_per_m: tuple[float, ...] = ()
    remarks: str = ""
    retired: bool = False


@dataclass(frozen=True, slots=True)
class Motor:
    """One loop of strip: as measured now, O-rings included in `mass_kg`. `state`: in_use, retired or broken.

    `uses_before`: winds that it had before the shelf knew it. `measured_at_use`: how many winds it had had when
    `loop_m` was measured; a loop grows in its first winds. `voided`: entered by mistake, left out everywhere.
    """

    name: str
    loop_m: float
    mass_kg: float
    orings_kg: float = 0.0
    strands: int = 2
    batch: str | None = None
    made: str | None = None
    state: str = "in_use"
    remarks: str = ""
    uses_before: int = 0
    measured_at_use: int | None = None
    voided: bool = False


@dataclass(frozen=True, slots=True)
class Winder:
    """`ratio`: turns of the motor for one of the crank. `limit_Nm`: its torque rating."""

    name: str
    ratio: float
    limit_Nm: float | None = None
    remarks: str = ""
    retired: bool = False


@dataclass(frozen=True, slots=True)
class Model:
    """What the motor flies. `hooks_m`: between its hooks; `mass_kg` without motor; `turner`: rotor or propeller.

    `hand`: which way round its motors are wound, right or left; a rotor that turns the other way needs the other.
    """

    name: str
    hooks_m: float | None = None
    mass_kg: float | None = None
    launch_torque_Nm: float | None = None
    turner: str = ""
    remarks: str = ""
    retired: bool = False
    hand: str | None = None


@dataclass(frozen=True, slots=True)
class Person:
    """A nickname is enough, and for a child it is all that should be kept."""

    name: str
    remarks: str = ""
    retired: bool = False


@dataclass(frozen=True, slots=True)
class Meter:
    """A meter by its board identity; `calibration` is the id of the one last used with it."""

    name: str
    calibration: str | None = None
    calibrated: str | None = None
    remarks: str = ""


@dataclass(frozen=True, slots=True)
class Wind(WindValues):
    """One wind as its trace tells it: who, with what, and the summary's values, those of the table `WindValues`.

    `trace` is the file's path below the data folder's `traces`. The motor's figures are as measured for this wind.
    `target_*` are the plan's. `share` is of breaking turns, wanted. `ratio` and `hooks_m` are the winder's and model's.
    `simulated`: the meter was; such a wind is no use of a real motor. `direction`: which way round it was wound,
    right or left, as found. `purpose`: what it is wound for, one of `PURPOSES`. `checks`: what was ticked before it,
    names of `inputs.CHECKS` with commas between. `voided`: a mistake, left out everywhere until it is restored.
    `trace_bytes`, `trace_sha256`: of the file, to find out whether it was changed.
    """

    id: str
    started: str
    trace: str
    outcome: str  # done, broken, gone (broke or came off), stopped, lost, open (not closed)
    person: str | None = None
    motor: str | None = None
    batch: str | None = None
    winder: str | None = None
    model: str | None = None
    meter: str | None = None
    calibration: str | None = None
    use: int | None = None
    share: float | None = None
    loop_m: float | None = None
    mass_kg: float | None = None
    orings_kg: float | None = None
    strands: int | None = None
    breaking_turns: float | None = None
    target_turns: float | None = None
    target_peak_torque_Nm: float | None = None
    target_launch_torque_Nm: float | None = None
    remarks: str = ""
    ratio: float | None = None
    hooks_m: float | None = None
    simulated: bool = False
    trace_bytes: int | None = None
    trace_sha256: str | None = None
    purpose: str | None = None
    voided: bool = False
    direction: str | None = None
    checks: str | None = None


@dataclass(frozen=True, slots=True)
class Again(WindValues):
    """What a later coach makes of a wind's inputs. `coach`: which one. `trouble`: why it could not be coached again.

    `trace_lacks`: the values that the trace's summary does not have, names with commas between; the wind's row shows
    this coach's.
    """

    wind: str
    coach: str
    trace_sha256: str | None = None
    outcome: str | None = None
    trouble: str | None = None
    trace_lacks: str | None = None


@dataclass(frozen=True, slots=True)
class KeptCalibration:
    """A calibration that winds were measured with. `content`: its file, as JSON."""

    id: str
    meter: str | None
    made: str | None
    content: str


@dataclass(frozen=True, slots=True)
class Flight:
    """What came of a wind. `turns_left` are the motor's; `ceiling` whether it was touched; `height_m` the highest.

    `energy_used_J`: between launch and landing, by the wind's plan and torque; see `energy_stored_J` of the wind.
    `kind`: one of `FLIGHT_KINDS`. `spoilt`: why it does not count (it hit something, was launched badly); a spoilt
    flight changes no advice. `spacer_kg`, `spacer_m`: of the spacer beside a part-motor. `temperature_C`, `humidity`
    (0-1) of the air, `ceiling_m` of the hall, `hall` its name. `voided`: a mistake, left out everywhere.
    """

    id: str
    wind: str
    flown: str
    duration_s: float | None = None
    turns_left: float | None = None
    height_m: float | None = None
    ceiling: bool | None = None
    remarks: str = ""
    energy_used_J: float | None = None
    kind: str | None = None
    spoilt: str | None = None
    spacer_kg: float | None = None
    spacer_m: float | None = None
    temperature_C: float | None = None
    humidity: float | None = None
    ceiling_m: float | None = None
    hall: str | None = None
    voided: bool = False


@dataclass(frozen=True, slots=True)
class Strip:
    """A strip cut from a batch, weighed: `width_m` as set on the stripper, None where it was not noted."""

    id: str
    batch: str
    weighed: str
    length_m: float
    mass_kg: float
    width_m: float | None = None
    remarks: str = ""
    voided: bool = False
