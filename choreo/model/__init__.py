"""Frozen data: what an assembly, a choreography, a plan and tracks are. No algorithms, no files."""
