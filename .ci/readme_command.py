"""Print one of the README's two commands, so that CI runs what people are told to run: FILE, then `main` or `tests`."""

import re
import sys

text = open(sys.argv[1], encoding="utf-8").read()
blocks = re.findall(r"```sh\n(.*?)```", text, re.S)
print(blocks[{"main": 0, "tests": 1}[sys.argv[2]]].strip())
