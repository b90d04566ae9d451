"""Words of the screen's own: states and labels as tables. What the coach says comes ready in the view."""

from __future__ import annotations

from winding_coach.coach.said import Level, Phase

PHASE_BLOCKS: dict[Phase, str] = {
    Phase.HOOK_UP: "ZERO",
    Phase.STRETCH_OUT: "STRETCH",
    Phase.WIND_STRETCHED: "WIND",
    Phase.WALK_IN: "WALK IN",
    Phase.FINAL_TURNS: "FINAL",
    Phase.BACK_OFF: "BACK OFF",
    Phase.READY: "READY",
    Phase.DONE: "DONE",
    Phase.BROKEN: "BROKEN",
    Phase.ABORTED: "STOPPED",
}
"""The phase in one short word, for block letters."""

STEPS = (
    Phase.HOOK_UP,
    Phase.STRETCH_OUT,
    Phase.WIND_STRETCHED,
    Phase.WALK_IN,
    Phase.FINAL_TURNS,
    Phase.BACK_OFF,
    Phase.READY,
)

LEVEL_SIGNS = {Level.DANGER: "!!! DANGER", Level.WARNING: "!! WARNING", Level.CAUTION: "! CAUTION"}

LINK_WORDS = {
    "waiting": "looking for the meter",
    "up": "connected",
    "silent": "connected, but silent",
    "down": "not connected",
}

SOURCE_WORDS = {
    "counted": "counted",
    "tapped": "tapped",
    "estimated": "estimated",
    "unknown": "not counted",
}

CAUTIONS = (
    "Before the first turn:",
    "· Eye protection for everyone near: a motor that breaks whips back.",
    "· Stay below what winder, hooks and stand are rated for.",
    "· Nobody in the motor's line; children only beside their adult.",
    "· Local rules and the adult in charge come before this screen.",
)
"""Each fits a line of 80 columns, and all of them the smallest screen that has a chart."""

KEYS = (
    ("t", "tare", "set zero, with nothing on the hook"),
    ("n, enter, space", "next", "confirm the step, go on to the next"),
    ("c", "count", "one turn of the crank, counted by a helper"),
    ("p", "peak", "the peak is reached: on to the back-off"),
    ("s", "stop", "stop this wind and keep it"),
    ("g", "", "large: three things only, or everything"),
    ("l", "", "light, dark or high contrast"),
    ("z", "", "freeze the picture; the coach goes on"),
    ("h, ?", "", "this help"),
    ("q", "quit", "close the wind, save it, and leave"),
)
"""Key, the coach's name of it (empty: the screen's own), what it does."""
KEY_LINE = "t zero  n next  c count  p peak  s stop  g large  h help  q quit"

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
HAND_KEY_NAMES = {"full_stop": ".", "comma": ","}
HAND_KEY_LINE = "↑ ↓ crank  → ← step  r reverse  x let go  k hook  n next  s stop  h help  q quit"
CLOSED_LINE = "q closes  g large  h help"
