"""A hostile probe at the bench's cable: scripted lies and mutated sessions."""
