"""lapsebench: a night of northern-lights stills, evened into living film."""

__version__ = "0.1.0"
