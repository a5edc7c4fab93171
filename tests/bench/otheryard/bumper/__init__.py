"""The kinds of scenes for the bumper check."""
