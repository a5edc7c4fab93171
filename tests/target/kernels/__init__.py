"""Every kernel, three ways that must agree."""
