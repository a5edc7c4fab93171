"""Calculations behind the notes."""
