"""The claim of each pass, proved another way. Never imports a pass."""
