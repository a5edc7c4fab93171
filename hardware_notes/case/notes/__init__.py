"""The page about case and weather, and what it computes."""
