"""The collar: its attenuator, its reflections, and what distance and aim do to the level."""
