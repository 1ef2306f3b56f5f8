"""Nights of known light: scenes, a camera and a photographer that are all made up, and meters of what was made of them."""
