"""Sensor streams that no estimator was tuned to, an ideal observer of them, and the scores of the real one."""
