"""Limits: the sets a probe judges by, how they are fitted to the fleet, and the study that tests the whole."""
