"""Scenes of the seal check: a steady tone in the closed cabin, and a wand that walks along the seals outside."""
