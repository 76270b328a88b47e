"""The stage sheet: gathered in `sheet`, laid out by `as_text` and `page`."""
