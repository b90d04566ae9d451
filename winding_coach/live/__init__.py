"""The live wind: the one loop, and what feeds it."""
