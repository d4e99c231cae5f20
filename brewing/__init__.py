"""The trade's arithmetic: pure functions, SI inside, each formula with its source."""
