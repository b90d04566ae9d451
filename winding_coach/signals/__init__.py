"""Calibrated samples in; torque, its rate, the crank and events out. Time is the meter's, told with every sample."""
