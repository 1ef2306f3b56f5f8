"""The jobs of the program, free of any user interface."""
