"""Bytes from the meter to calibrated torque: frames, device clock, calibration. Pure."""
