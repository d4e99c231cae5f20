"""Benchmarks: each module measures one thing and says whether its goal, written beside it, holds."""
