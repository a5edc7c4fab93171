"""The analogue front end: its values, and what they give."""
