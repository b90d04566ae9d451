"""A meter made fit for use: calibrated, checked, tried, its lines held against the protocol."""
