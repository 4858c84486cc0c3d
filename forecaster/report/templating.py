"""The one way in which pages are made from templates: everything escaped, an unknown name fails at once."""

from __future__ import annotations

from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from forecaster.report.svg import TEMPLATES


def page_environment(folder: Path | None = None) -> Environment:
    """A new environment over the templates of a folder, by default those of the reports."""
    return Environment(
        autoescape=True,
        undefined=StrictUndefined,
        loader=FileSystemLoader(str(folder or TEMPLATES)),
        trim_blocks=True,
        lstrip_blocks=True,
    )
