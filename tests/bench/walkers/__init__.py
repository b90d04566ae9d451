"""People who walk, led by the coach: walkers by another hand than the coach's, under three laws of slack.

`python -m tests.bench.walkers --help`. Nothing of the coach is used but its contract: rows in, words out.
"""
