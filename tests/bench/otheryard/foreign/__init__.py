"""Everything that sounds in a yard and is no parking sensor of this vehicle."""
