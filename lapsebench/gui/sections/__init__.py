"""The sections of the right panel, in working order."""
