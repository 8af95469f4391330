"""Conversion of an SVG document of Matplotlib for a page: small, with unique ids, in the page's colours."""

from __future__ import annotations

import re

from markupsafe import Markup, escape

from edgewind.report.palette import recolour

_LINK = re.compile(r'(?:xlink:href="#|url\(#)([^")]+)')
_ID = re.compile(r' id="([^"]*)"')
_FONT = re.compile(r"'DejaVu Sans'(?:, [^;\"]*)?")
_OUTSIDE_ROOT = re.compile(r"^.*?<svg[^>]*?viewBox=\"([^\"]+)\"[^>]*>", re.S)
_NOT_NEEDED = (re.compile(r"<metadata>.*?</metadata>", re.S), re.compile(r"<defs>\s*<style.*?</style>\s*</defs>", re.S))


def inline_svg(document: str, *, prefix: str, label: str, css_class: str) -> Markup:
    """Return the ``<svg>`` element for a page.

    Parameters
    ----------
    document : str
        An SVG document drawn with the placeholder palette.
    prefix : str
        Prefix of every id, so that two drawings on one page have no common one.
    label : str
        Alternative text of the drawing.
    css_class : str
        Its class.
    """
    match = _OUTSIDE_ROOT.match(document)
    if match is None:
        raise ValueError("not an SVG document with a viewBox")
    body = document[match.end() :]
    for pattern in _NOT_NEEDED:
        body = pattern.sub("", body)
    linked = set(_LINK.findall(body))
    body = _ID.sub(lambda found: f' id="{prefix}{found[1]}"' if found[1] in linked else "", body)
    body = body.replace('xlink:href="#', f'href="#{prefix}').replace("url(#", f"url(#{prefix}")
    body = _FONT.sub("var(--sans)", body)
    body = re.sub(r"<!--.*?-->\s*", "", body, flags=re.S)
    body = re.sub(r">\s+<", ">\n<", body)
    root = f'<svg class="{css_class}" viewBox="{match[1]}" role="img" aria-label="{escape(label)}">'
    return Markup(recolour(root + body, None).strip())
