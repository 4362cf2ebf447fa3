"""Read a plan file into a picture; find the ink in it."""
