"""Many winds and flights: a season, a trend, what wears."""
