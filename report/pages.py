"""The page templates, filled."""

from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined

TEMPLATES = Path(__file__).parent / "templates"


def filled(template: str, **values: Any) -> bytes:
    """Give a template with its values in place, as UTF-8; all text is escaped, and a missing value is an error."""
    environment = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=_is_page,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        # Each template is filled once: what its optimizer saves then is less than it takes.
        optimized=False,
    )
    return environment.get_template(template).render(**values).encode("utf-8")


def _is_page(name: str | None) -> bool:
    """Styles and scripts of ours are put in as they stand; pages escape what they show."""
    return name is None or not name.endswith((".css", ".js"))
