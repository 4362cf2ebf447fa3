"""Values in mm: lengths, fractions, paths, outlines, and their writers."""
