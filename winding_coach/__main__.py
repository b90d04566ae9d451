"""`python -m winding_coach`: the same as `winding-coach`."""

import sys

from winding_coach.cli import main

sys.exit(main())
