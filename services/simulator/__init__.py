"""Simulator: a plant that behaves, for demos, tests and rehearsals."""
