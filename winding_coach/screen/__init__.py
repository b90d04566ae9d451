"""The terminal screen: it looks at `session.view` some times per second, and never touches a source or the loop."""

import os

# What was drawn goes to the terminal at the library's next beat: make that a 120th of a second instead of a 60th. It
# reads this once, when it is first imported.
os.environ.setdefault("TEXTUAL_FPS", "120")
