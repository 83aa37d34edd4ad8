"""Drawings as trees of elements instead of markup: a page builds them node by node, and has nothing to parse.

A host page's policy may forbid turning text into elements (Trusted Types); building them one by one it may not.
"""

from typing import Any
from xml.etree.ElementTree import Element

from defusedxml.ElementTree import fromstring

#: The ink and the paper of our drawings, which take the colours of the page that they stand on.
INHERITED = {"#fff": "none", "#111": "currentColor", "#333": "currentColor", "#767676": "currentColor"}


def tree_of(svg: str) -> list[Any] | None:
    """An SVG drawing as [name, {attribute: value}, [children]], children being such lists or text; None for none."""
    return _tree(fromstring(svg)) if svg else None


def _tree(element: Element) -> list[Any]:
    children: list[Any] = [element.text] if element.text else []
    for child in element:
        children += [_tree(child), *([child.tail] if child.tail else [])]
    attributes = {name: INHERITED.get(value, value) for name, value in element.attrib.items()}
    return [element.tag.rpartition("}")[2], attributes, children]
