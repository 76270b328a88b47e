"""How the pages of printed sheets are filled in: `base.html.j2` holds what they share."""

from __future__ import annotations

from typing import Any


def filled(template: str, **context: Any) -> str:
    """Fill in a template of this folder, such as "stage_sheet/page.html.j2".

    Returns
    -------
    str
        A whole document. Every name in it is escaped.
    """
    import jinja2

    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("chainsim.listen", "sheets"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template(template).render(context)
