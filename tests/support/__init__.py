"""What tests and benches share and no command reaches: estimators that see the whole wind, people without a coach,
strokes of technical drawings."""
