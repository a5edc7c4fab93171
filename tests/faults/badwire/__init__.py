"""Sessions over a wire that damages, loses and doubles bytes."""
