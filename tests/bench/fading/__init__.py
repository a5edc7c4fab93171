"""Invented fleets whose sensors fade or do not, and what a judge of fading makes of them."""
