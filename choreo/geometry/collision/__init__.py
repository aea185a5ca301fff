"""Who meets whom on which way, exactly and without time."""
