"""From ink to strokes, outlines and fitted curves."""
