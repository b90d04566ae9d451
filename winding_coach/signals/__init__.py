"""Torque samples to rate, crank state and events: what the hand is doing. Pure, incremental."""
