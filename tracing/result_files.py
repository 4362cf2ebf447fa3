"""Which files of a job's folder are the page's to offer."""

from tracing.opening import JOB_NAME

FILES = {
    "pages.pdf": "application/pdf",
    "outlines.svg": "image/svg+xml",
    "outlines.dxf": "image/vnd.dxf",
    "outlines_arcs.dxf": "image/vnd.dxf",
    "flat.png": "image/png",
    "report.html": "text/html; charset=utf-8",
    "report.json": "application/json",
    JOB_NAME: "application/toml",
}
"""What `make` writes into a job's folder, and as what it is served."""
