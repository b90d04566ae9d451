"""Words of the screen's own: states, labels and keys as tables. What the coach says comes ready in the view."""

from __future__ import annotations

from winding_coach.coach.said import Level, Phase
from winding_coach.screen.after import After

PHASE_BLOCKS: dict[Phase, str] = {
    Phase.SET_ZERO: "ZERO",
    Phase.STRETCH_OUT: "STRETCH",
    Phase.WIND_STRETCHED: "WIND",
    Phase.WALK_IN: "WALK IN",
    Phase.FINAL_TURNS: "FINAL",
    Phase.BACK_OFF: "BACK OFF",
    Phase.READY: "READY",
    Phase.DONE: "DONE",
    Phase.BROKEN: "BROKEN",
    Phase.STOPPED: "STOPPED",
    Phase.LET_DOWN: "LET DOWN",
    Phase.EMPTY: "EMPTY",
}
"""The phase in one short word, for block letters and the rail of steps."""

STEPS = (
    Phase.SET_ZERO,
    Phase.STRETCH_OUT,
    Phase.WIND_STRETCHED,
    Phase.WALK_IN,
    Phase.FINAL_TURNS,
    Phase.BACK_OFF,
    Phase.READY,
)

LETTING_DOWN_STEPS = (Phase.SET_ZERO, Phase.LET_DOWN, Phase.EMPTY)

PROMPT_BLOCKS = {
    "count_on": "COUNT {crank}",
    "stretch_to": "OUT TO {distance}",
    "start_cranking": "CRANK",
    "walk_in_to": "WALK TO {distance}",
    "hold_distance": "HOLD {distance}",
    "walk_on": "WALK ON",
    "walk_slower": "WALK SLOWER",
    "walk_quicker": "WALK FASTER",
    "wait_here": "WAIT",
    "step_now": "STEP",
    "step_shorter": "SHORTER",
    "crank_slower": "SLOWER",
    "crank_faster": "FASTER",
    "stop_at_peak": "STOP",
    "back_off": "BACK OFF {crank}",
    "step_out_wound": "OUT TO {distance}",
    "let_down": "LET DOWN {crank}",
    "let_down_slower": "SLOWER",
}
"""What to do in block letters, where the phase's own word would say less."""

PACE_BLOCKS = {"walk_in_to": "FINISH STEP", "hold_distance": "STAY"}
"""The prompts that are said in paces, from where the person stands; the words where no step is to be made."""

ALARM_BLOCKS = {
    "motor_broke": "NO TORQUE",
    "other_meter": "STOP",
    "meter_frozen": "STOP",
    "far_off": "STOP",
    "overwind": "STOP",
    "meter_limit": "STOP",
    "winder_limit": "STOP",
    "meter_saturated": "STOP",
    "meter_silent": "NO DATA",
    "crank_stalled": "CRANK",
    "rising_too_fast": "SLOWER",
    "torque_falling": "HOLD",
}
"""What to do at once, in block letters; an alarm that is not here leaves the word as it is."""

LINK_BLOCKS = {"waiting": "NO METER", "down": "NO METER", "silent": "NO DATA"}

LINK_HELD = {
    "waiting": "Hold the winder still: no meter yet.",
    "silent": "Hold the winder still; check the meter's lead ({why}).",
    "down": "Hold the winder still: {why}. Plug it in again.",
}
"""What to do with a loaded motor in hand when the meter says nothing."""

LINK_TAPS = "Hold the winder still; check the lead. Or press c at each crank turn."
"""The same where turns were counted so far."""

OUTCOME_BLOCKS = {"done": "DONE", "broken": "BROKEN", "gone": "GONE", "stopped": "STOPPED", "lost": "LOST"}

WIDEST_BLOCKS = "WALK TO 8.88"
"""The size of the block letters is made to fit this, so that it never jumps with the word."""

CLOSING = {
    "done": "Done. Copy these values to the motor's label.",
    "broken": "The motor broke. Clear the hook and mark its bag.",
    "gone": "Torque gone: it broke or came off. If it broke, log that with f.",
    "stopped": "Stopped. Unwind carefully before unhooking.",
    "lost": "The meter was lost. All readings up to then are kept.",
}

LEVEL_SIGNS = {Level.DANGER: "!!! DANGER", Level.WARNING: "!! WARNING", Level.CAUTION: "! CAUTION"}

LINK_WORDS = {
    "waiting": "looking for the meter",
    "up": "meter connected",
    "silent": "meter connected, but silent",
    "down": "meter not connected",
}
SIMULATED_BOARD, SIMULATED_SIGN = "simulated", "SIMULATED"
"""What a simulated meter says it is, and what stands in the bar for it."""
LINK_SIGNS = {"waiting": "○", "up": "●", "silent": "!", "down": "×"}

SOURCE_WORDS = {
    "counted": "counted",
    "tapped": "tapped",
    "estimated": "estimated",
    "unknown": "not counted",
}

CHECK_WORDS = {
    "eyes": "Eye protection on, everyone near the motor: a break whips back.",
    "line": "Bystanders out of the motor's line; children only beside their adult.",
    "knot": "Knot",
    "orings": "O-rings",
    "lubricant": "Lubricant",
    "rating": "Winder, hooks and stand rated for {peak} and more.",
    "turns_in": "Turns in it: {turns_in} (+ -)",
    "break_in": "New rubber pulled out a few times",
}
CHECK_ROWS = (("eyes",), ("line",), ("rating",), ("knot", "orings", "lubricant"), ("turns_in", "break_in"))
CHECK_HEAD = "Before you start: a number ticks, y ticks all, escape closes"
CHECK_FOOT = "Local rules and the adult in charge come before this screen."
HAND_OVER = (
    "To the model",
    "Hold the motor behind its O-ring; keep it taut, let nothing turn.",
    "Hook it to the strong part of the model.",
    "Keep out of the motor's line; eye protection stays on.",
    "Common practice, no source. Local rules and the adult in charge first.",
)
CAUTION_LINE = "Eye protection on? Bystanders and children out of the motor's line?"

NO_METER = (
    "No meter yet",
    "1  Plug its USB lead in; the meter's light should come on.",
    "2  Close any other program that holds the port.",
    "3  `winding-coach meter list` shows the ports, `meter check` tries one.",
    "No meter at hand? `winding-coach practice` does without.",
)

LOOK_HELP = (
    ("g", "glance: three large items only, or everything"),
    ("u", "units: metric or inch, values and sentences"),
    ("l", "lamplight, tissue or high contrast"),
    ("z", "freeze the picture; coaching continues"),
    ("a", "other characters, if you see boxes instead of lines"),
    ("h, ?", "this help"),
)
KEYS = (
    ("t", "set zero, with nothing on the hook"),
    ("n, enter, space", "confirm the step and move to the next"),
    ("backspace", "take the last step back"),
    ("c", "one crank turn, counted by a helper"),
    ("p", "target reached: on to the back-off"),
    ("s", "stop this wind and keep it"),
    ("o", "continue in doubt, with the lower target"),
    ("b", "the motor broke: close the wind and say so"),
    ("+, -", "turns already in the motor, ten more or fewer"),
    *LOOK_HELP,
    ("1 to 8, y", "tick the list before the wind, or all of it"),
    ("f", "after the wind: log the flight"),
    ("d", "after the wind: let the motor down on the meter"),
    ("n, enter", "after the wind: the next one"),
    ("q", "close the wind, save it, and leave"),
)
"""Keys of a live wind and what they do."""
KEY_LINE = "t zero  n next  c count  p peak  s stop  g glance  h help  q quit"

HAND_KEYS = {
    "up": ("crank_faster", "crank faster"),
    "down": ("crank_slower", "crank slower"),
    "right": ("step_in", "step in"),
    "left": ("step_out", "step out"),
    "full_stop": ("big_step_in", "a large step in"),
    "comma": ("big_step_out", "a large step out"),
    "k": ("hook", "hook up, or unhook"),
    "r": ("reverse", "crank the other way"),
    "x": ("crank_stop", "let go of the crank"),
}
"""Keys of practised hands: the command and what it does."""
KEY_NAMES = {"full_stop": ".", "comma": ",", "up": "↑", "down": "↓", "right": "→", "left": "←"}
HAND_HELP = (
    *((KEY_NAMES.get(key, key), words) for key, (_, words) in HAND_KEYS.items()),
    ("v", "the motor from the side, instead of the chart"),
    *KEYS,
)
"""The hands' first: they are what is asked for in a first practice."""
HAND_KEY_LINE = "↑ ↓ crank  → ← step  r reverse  x let go  k hook  n next  h help  q quit"

PLAY_KEYS = {
    "space": ("pause", "pause, or continue"),
    "right": ("on", "5 seconds forward"),
    "left": ("back", "5 seconds back"),
    "full_stop": ("step", "one picture forward (pauses)"),
    "comma": ("step_back", "one picture back (pauses)"),
    "n": ("next_event", "to the next event"),
    "b": ("last_event", "to the event before"),
    "up": ("faster", "twice as fast"),
    "down": ("slower", "half as fast"),
    "home": ("begin", "to the beginning"),
    "end": ("finish", "to the end"),
}
"""Keys of a replay: the command and what it does."""
PLAY_HELP = (
    *((KEY_NAMES.get(key, key), words) for key, (_, words) in PLAY_KEYS.items()),
    *LOOK_HELP,
    ("q", "leave"),
)
PLAY_KEY_LINE = "space pause  ← → 5 s  , . step  b n event  ↑ ↓ speed  h help  q quit"


def closed_line(after: After) -> str:
    """Return the line of keys of a finished screen."""
    offered = (
        ("n next wind", after.upcoming is not None),
        ("d let down", after.lets_down),
        ("f log the flight", after.flight is not None),
    )
    return "  ".join([*(words for words, is_so in offered if is_so), "q closes", "g glance", "l theme", "h help"])


WATCH_LINE = "watching only  w who is next  g glance  u units  l theme  h help  q quit"
WATCH_HELP = (("w", "who is next, and what each did last"), *LOOK_HELP, ("q", "leave; the wind continues"))
