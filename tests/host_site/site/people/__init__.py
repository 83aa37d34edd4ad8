"""Who belongs to the cooperative."""
