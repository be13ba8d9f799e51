"""Plan, parts, join and progress."""
