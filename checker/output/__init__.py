"""Writers of what a run found: each reads the records of `checker.result` and none reads another's file."""
