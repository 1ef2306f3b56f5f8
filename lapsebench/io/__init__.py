"""Everything that touches the disk, a codec or another program."""
