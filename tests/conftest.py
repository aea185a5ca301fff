"""Puts this folder on the path, so that tests in every folder below can share its helpers."""
