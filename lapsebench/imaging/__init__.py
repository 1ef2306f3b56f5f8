"""Pixels in, pixels out: proxies, grading and framing of single pictures."""
