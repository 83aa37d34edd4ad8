"""A whole sheet as data: the document, read strictly, and its digest."""

import hashlib
import json
from typing import Any

from clubs.sheets.blocks import PAGES_MM, Faulty, checked
from clubs.sheets.texts import legible, shortened

#: What of a document says when and where it was issued, not what it tells of its subject: left out of the digest.
#: `made_at` is the caller's; `number` and `changes` are added when it is issued.
LEFT_OUT = {"made_at", "number", "changes"}

_TEXTS = {"kind": 40, "title": 300, "subtitle": 300, "subject": 200, "made_at": 40}


def document(
    *, kind: str, title: str, subject: str, made_at: str, sections: Any, page: str = "a4", subtitle: str = ""
) -> dict[str, Any]:
    """A document made of sections; texts that are too long for their place are shortened.

    Raises `Faulty` where the sections cannot be set.
    """
    texts = {"kind": kind, "title": title, "subtitle": subtitle, "subject": subject, "made_at": made_at}
    return read_document(
        {name: _fitting(name, text) for name, text in texts.items()} | {"page": page, "sections": sections}
    )


def _fitting(name: str, text: str) -> str:
    return shortened(legible(text), _TEXTS[name])


def read_document(data: Any) -> dict[str, Any]:
    """The document with cleaned texts and drawings; raises `Faulty` with every fault."""
    faults = []
    names = {*_TEXTS, "page", "sections"}
    if not isinstance(data, dict):
        raise Faulty([f"a document is an object, not {type(data).__name__}."])
    if missing := sorted(names - data.keys()):
        faults.append(f"the document lacks {', '.join(missing)}.")
    if unknown := sorted(map(str, data.keys() - names)):
        faults.append(f"a document has no {', '.join(unknown)[:100]}.")
    faults += [
        f"the document's {name} must be a text of at most {most} letters."
        for name, most in _TEXTS.items()
        if name in data and not (isinstance(data[name], str) and len(data[name]) <= most)
    ]
    if data.get("page") not in list(PAGES_MM):
        faults.append(f"the document's page must be one of {', '.join(PAGES_MM)}.")
    if faults:
        raise Faulty(faults)
    texts = {name: legible(data[name]) for name in _TEXTS}
    return {**texts, "page": data["page"], "sections": checked(data["sections"], page=data["page"])}


def canonical(data: Any) -> bytes:
    """Canonical JSON: sorted keys, no spaces, UTF-8."""
    return json.dumps(data, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode()


def digest(data: dict[str, Any]) -> str:
    """SHA-256, in hexadecimal, of what a document tells of its subject."""
    told = {name: value for name, value in data.items() if name not in LEFT_OUT}
    return hashlib.sha256(canonical(told)).hexdigest()
