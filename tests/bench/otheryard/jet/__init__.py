"""Scenes of the hiss check: turbulent jets from leaks, against backgrounds that are rarely steady."""
