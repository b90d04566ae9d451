"""What happened in a wind, real or practised: figures, scores by rules of our own, and what to do better. Pure."""
