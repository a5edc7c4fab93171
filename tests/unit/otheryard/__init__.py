"""Tests of the second yard itself: its physics, its levels and times, and what it says is right."""
