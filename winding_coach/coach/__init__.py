"""What to do now: phases, prompts and alarms out of readings and a plan. Pure: see `coach.step.Coach`."""
