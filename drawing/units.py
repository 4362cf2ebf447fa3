"""Exact constants, each written once here and nowhere else."""

MM_PER_INCH = 25.4
"""Exact by definition: international yard and pound agreement, 1959."""

PT_PER_INCH = 72
"""One PDF user-space unit is 1/72 inch (ISO 32000)."""

MM_PER_PT = MM_PER_INCH / PT_PER_INCH
