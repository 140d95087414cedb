"""One file per airtight detail; what lies here is found, in sorted order."""

BELONGS_TO = "seamtrace"
