"""The speech model that the companion ships, and the recipe that made it."""
