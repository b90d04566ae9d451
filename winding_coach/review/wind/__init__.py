"""What happened in one wind, with scores and reasons."""
