"""Print one of the README's two commands, so that CI runs what people are told to run: FILE, then `main` or `tests`."""

import re
import sys
from pathlib import Path

blocks = re.findall(r"```sh\n(.*?)```", Path(sys.argv[1]).read_text(encoding="utf-8"), re.S)
print(blocks[{"main": 0, "tests": 1}[sys.argv[2]]].strip())
