"""Tests of the fading benchmark itself: its invented fleets and its intervals."""
