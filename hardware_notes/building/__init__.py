"""How the probe is built, step by step: one table, and the page made from it.

`python -m hardware_notes.building` writes build.md; a test fails when it is stale.
"""
