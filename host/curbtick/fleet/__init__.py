"""The fleet: vehicles and rounds, how each position stands and how it got there, and the work that follows."""
