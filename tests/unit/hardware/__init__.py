"""The hardware notes: solids, case, building."""
