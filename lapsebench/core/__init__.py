"""Arrays, frozen dataclasses and the sums of the light; numpy and scipy only."""
