"""What to change next, from winds and their flights."""
