"""All that is printed for a workshop in one document: the leader's pages, the darkroom's, and those of every place."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any, Literal

from django.utils import timezone

from clubs.models import Membership
from clubs.services import check_role
from clubs.sheets.camera import of_design
from clubs.sheets.documents import document
from clubs.sheets.drawings import framed
from clubs.sheets.of_cameras import KINDS
from exposures.pooled import pooled
from exposures.sheets.darkroom_card import darkroom_card
from exposures.sheets.paper_times import PaperTimes
from exposures.sheets.place_sheets import measured_cards, place_sheet, planned_card
from exposures.workshops.codes import shown_code
from exposures.workshops.models import Place, Workshop
from exposures.workshops.preparing import HOLE_CAUTION, Asked, Preparation, prepare
from exposures.workshops.services import subject
from optics.core.lettering import ON_SHEET
from optics.core.say import say_f_number, say_time
from optics.core.sheet_cuts import CAUTION as BLADE_CAUTION
from optics.core.sheet_cuts_svg import sheet_cuts_svg
from pinpool.http.problems import Conflict

#: How often something is printed: once for all, once for each place, or not at all.
Often = Literal["once", "each", "none"]
#: Cuts that are told in words; beyond, the drawing tells them.
MOST_CUTS = 20


def workshop_pack(
    *,
    actor: Membership,
    workshop: Workshop,
    page: str,
    address: Callable[[str], str],
    asked: Asked | None = None,
    often: Mapping[str, Often] | None = None,
) -> dict[str, Any]:
    """The document for a workshop to come; `address` gives where a claim code opens its place, `often` how often it
    has each kind of sheet of the camera as designed, by the names of `clubs.sheets.of_cameras.KINDS`: once if not said.

    The leader's pages have the codes of all places on them, so whoever may read the document must be allowed to read
    places. Raises `Impossible` where no negative can be cut, `Faulty` where it is more than can be set at once.
    """
    check_role(membership=actor, action="issue_workshop_sheet")
    places, known, now = all_places(workshop), pooled(workshop.club), timezone.now()
    found = prepare(actor=actor, workshop=workshop, asked=asked or Asked(), places=len(places), known=known)
    camera = of_design(workshop.design, url="")
    card = planned_card(camera=camera, times=PaperTimes(known, workshop.paper), made_at=now)
    told = often or {}
    by_design = {name: own(camera, page, None) for name, (_, own) in KINDS.items() if told.get(name) != "none"}
    each = [sections for name, sections in by_design.items() if told.get(name) == "each"]
    once = [sections for name, sections in by_design.items() if told.get(name) != "each"]
    groups = [*leaders_pages(found, places), [_darkroom_card(found)], *once]
    lines = found.asked.negatives_per_place
    for place in places:
        at = address(place.code)
        own = place_sheet(place=place, workshop=workshop, camera=camera, address=at, lines=lines)
        groups += [[own], *each, [card]]
    return _whole("workshop_pack", "Workshop pack", workshop, page, groups)


def darkroom_document(*, actor: Membership, workshop: Workshop, page: str, asked: Asked) -> dict[str, Any]:
    """The darkroom card of a workshop by itself."""
    check_role(membership=actor, action="issue_workshop_sheet")
    found = prepare(actor=actor, workshop=workshop, asked=asked, places=workshop.places.count())
    return _whole("darkroom_card", "Darkroom card", workshop, page, [[_darkroom_card(found)]])


def exposure_cards(*, actor: Membership, workshop: Workshop, page: str) -> dict[str, Any]:
    """A card for every place that has measured its hole; a `Conflict` while none has."""
    check_role(membership=actor, action="issue_workshop_sheet")
    places = [place for place in all_places(workshop) if place.hole_diameter_mm is not None]
    if not places:
        raise Conflict("No place of this workshop has measured its hole yet; the pack has cards for the planned one.")
    known = pooled(workshop.club)
    cards = measured_cards(workshop=workshop, places=places, known=known, made_at=timezone.now())
    return _whole("exposure_cards", "Exposure cards", workshop, page, [[card] for card in cards])


def all_places(workshop: Workshop) -> list[Place]:
    """The workshop's places by number, with what their sheets tell of them."""
    rows = workshop.places.select_related("camera__club", "workshop__design").prefetch_related("camera__specs")
    return list(rows.order_by("number"))


def leaders_pages(found: Preparation, places: Sequence[Place]) -> list[list[dict[str, Any]]]:
    """Preparation, order of the day, and who sits where with which code; each group of sections on pages of its own."""
    doubts = [{"kind": "text", "text": flag.text} for flag in found.flags]
    about = {"title": "The workshop", "blocks": [_facts(found), *doubts]}
    bring = {"title": "To bring", "blocks": [_checklist(found), {"kind": "caution", "text": HOLE_CAUTION}]}
    return [[about, bring], [_darkroom(found), _day(found)], [_cutting(found)], [_places(places)]]


def _facts(found: Preparation) -> dict[str, Any]:
    workshop, film = found.workshop, found.negative_mm
    time = "none can be told" if found.exposure_s is None else say_time(found.exposure_s)
    rows = [
        ["Held on", f"{workshop.held_on:%Y-%m-%d}, {found.day[0].starts:%H:%M} to {found.day[-1].ends:%H:%M}"],
        ["Design", f"{workshop.design.name}, {say_f_number(found.f_number)} as planned"],
        ["Paper", f"{workshop.paper.name}, negatives of {film[0]:.0f} × {film[1]:.0f} mm"],
        ["Places", f"{found.places}, {found.asked.negatives_per_place} negatives each, {found.spares} spare"],
        ["Darkroom", f"{workshop.stations} side by side"],
        [f"Exposure at EV {found.asked.ev100:g}", time],
    ]
    return {"kind": "facts", "rows": rows + ([["Note", workshop.note]] if workshop.note else [])}


def _checklist(found: Preparation) -> dict[str, Any]:
    return {"kind": "checklist", "items": [f"{thing.what}: {thing.amount}. {thing.text}" for thing in found.bring]}


def _cutting(found: Preparation) -> dict[str, Any]:
    cuts, (wide, high) = found.cuts, found.sheet_mm
    said = f"{cuts.count} negatives from each of {found.sheets} sheets of {wide:.4g} × {high:.4g} mm."
    drawn = sheet_cuts_svg(cuts, shown=ON_SHEET, captioned=False)
    drawing = framed(drawn, caption="Cut in the order of the numbers, each from edge to edge.")
    steps = {"kind": "steps", "items": [cut.text for cut in cuts.cuts[:MOST_CUTS]]}
    blocks = [{"kind": "text", "text": said}, {"kind": "caution", "text": BLADE_CAUTION}, drawing, steps]
    return {"title": "Cutting the paper", "blocks": blocks}


def _darkroom(found: Preparation) -> dict[str, Any]:
    def span(times_s: tuple[float, float]) -> str:
        low, high = map(say_time, times_s)
        return low if low == high else f"{low} to {high}"

    queue = found.queue
    rows = [
        ["One negative", span(queue.each_s)],
        ["After it, one at each station every", span(queue.every_s)],
        ["One from every place", span(found.round_queue.total_s)],
        [f"All {found.negatives}", f"{span(queue.total_s)}, then the wash"],
    ]
    return {"title": "In the darkroom", "blocks": [{"kind": "facts", "rows": rows}]}


def _day(found: Preparation) -> dict[str, Any]:
    rows = [[f"{block.starts:%H:%M}", f"{block.ends:%H:%M}", block.what.title(), block.text] for block in found.day]
    note = "As reckoned from the places, the stations, the process and the light; no round starts before the last ends."
    return {
        "title": "Order of the day",
        "blocks": [{"kind": "table", "columns": ["From", "To", "What", "How"], "rows": rows, "note": note}],
    }


def _places(places: Sequence[Place]) -> dict[str, Any]:
    """Two columns, so that no code is broken: what is copied from the page opens its place."""
    room = "\u2003" * 16
    rows = [
        [
            f"{place.number}" + (f", {place.name}" if place.name else room),
            shown_code(place.code) if place.withdrawn_at is None else "withdrawn",
        ]
        for place in places
    ]
    note = "Whoever reads this page can write at every place: keep it to yourself."
    columns = ["Place, and who sits there", "Code"]
    return {"title": "Places and codes", "blocks": [{"kind": "table", "columns": columns, "rows": rows, "note": note}]}


def _darkroom_card(found: Preparation) -> dict[str, Any]:
    return darkroom_card(
        process=found.workshop.process,
        negatives=found.negatives + found.spares,
        negative_mm=found.negative_mm,
        stations=found.workshop.stations,
        capacity_m2_per_l=found.asked.capacity_m2_per_l,
    )


def _whole(
    kind: str, title: str, workshop: Workshop, page: str, groups: Sequence[list[dict[str, Any]]]
) -> dict[str, Any]:
    """The document of groups of sections, each from a new page on."""
    groups = [group for group in groups if group]
    ended = [_ended(group) for group in groups[:-1]]
    sections = [section for group in (*ended, *groups[-1:]) for section in group]
    return document(
        kind=kind,
        title=title,
        subtitle=f"{workshop.name}, {workshop.held_on:%Y-%m-%d}, {workshop.club.name}",
        subject=subject(workshop),
        made_at=timezone.now().isoformat(timespec="seconds"),
        sections=sections,
        page=page,
    )


def _ended(group: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """A group whose end is that of a page."""
    *before, last = group
    return [*before, last | {"blocks": [*last["blocks"], {"kind": "break"}]}]
