"""A project watched while it is edited: files followed, rounds computed, one page kept up to date on this machine."""
