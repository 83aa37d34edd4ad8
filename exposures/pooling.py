"""What keepers do about the pool: join it, say which papers are the same, and exchange packets with other servers."""

import hashlib
import json
import uuid
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import QuerySet
from django.http import Http404
from django.utils import timezone
from rest_framework.exceptions import ValidationError

from clubs.models import Club, Membership
from clubs.services import check_role
from exposures.catalogue import catalogue_key, family_of
from exposures.evidence import mark_changed
from exposures.models import Grade, PaperMerge, Pool, ReceivedPacket
from exposures.pooled import pooled
from exposures.reciprocity.cells import NO_CELLS
from exposures.reciprocity.packets import Packet, make_packet, open_packet
from exposures.scopes import Scope, pool_of
from optics.core.faults import Impossible
from optics.inputs import refuse
from pinpool.http.etags import Expected
from pinpool.http.problems import Conflict, impossible


def join_pool(*, actor: Membership, joined: bool, expected: Expected) -> Pool:
    """Let logs marked shared come and go between this club and the others that joined, or no longer."""
    check_role(membership=actor, action="join_pool")
    pool_of(actor.club)
    with transaction.atomic():
        pool = Pool.objects.select_for_update().get(club=actor.club)
        expected.check(pool.revision)
        pool.joined, pool.revision = joined, pool.revision + 1
        pool.save(update_fields=["joined", "revision"])
        mark_changed(club_id=actor.club_id, shared=True)
    pool.refresh_from_db()
    return pool


# ------------------------------------------------------------------------------------------------------- merges


def merges_in(*, club: Club) -> QuerySet[PaperMerge]:
    return PaperMerge.objects.filter(club=club).select_related("made_by", "undone_by")


def merge_in(*, club: Club, number: int) -> PaperMerge:
    found = merges_in(club=club).filter(pk=number).first()
    if found is None:
        raise Http404
    return found


def merge_papers(*, actor: Membership, key: str, into_key: str) -> PaperMerge:
    """Reckon the papers of two catalogue keys as one, in this club alone."""
    check_role(membership=actor, action="merge_papers")
    with transaction.atomic():
        pool_of(actor.club)
        Pool.objects.select_for_update().get(club=actor.club)  # one merge at a time: two together could close a circle
        scope = Scope(actor.club)
        faults = {
            field: [
                impossible("No paper that this club reckons with goes by this key; see the catalogue.", "unknown_key")
            ]
            for field, value in (("key", key), ("into_key", into_key))
            if value not in scope.keys
        }
        if faults:
            raise ValidationError(faults)
        if scope.root(into_key) == scope.root(key):
            raise ValidationError({"into_key": [impossible("These two are one paper already.", "same_paper")]})
        try:
            with transaction.atomic():
                merge = PaperMerge.objects.create(club=actor.club, key=key, into_key=into_key, made_by=actor.user)
        except IntegrityError:
            raise Conflict(f"“{key}” has been merged into another paper; undo that first.") from None
        mark_changed(club_id=actor.club_id, shared=False)
    return merge


def undo_merge(*, actor: Membership, number: int, expected: Expected) -> PaperMerge:
    """Reckon them as two again. The merge stays on record."""
    check_role(membership=actor, action="merge_papers")
    with transaction.atomic():
        merge = PaperMerge.objects.select_for_update().filter(club=actor.club, pk=number).first()
        if merge is None:
            raise Http404
        expected.check(merge.revision)
        if merge.undone_at is not None:
            raise Conflict("This merge has been undone already.")
        merge.undone_at, merge.undone_by, merge.revision = timezone.now(), actor.user, merge.revision + 1
        merge.save(update_fields=["undone_at", "undone_by", "revision"])
        mark_changed(club_id=actor.club_id, shared=False)
    return merge


# ------------------------------------------------------------------------------------------------------ packets


def own_packet(*, actor: Membership) -> Packet:
    """The club's shared logs as a packet, whose revision grows whenever it says something new.

    A club that left the pool gives an empty one: whoever receives it counts nothing of the club any more.
    """
    check_role(membership=actor, action="exchange_packets")
    scope = pooled(actor.club).scope  # so that doubts are those of today
    with transaction.atomic():
        pool = Pool.objects.select_for_update().get(club=actor.club)
        cells = scope.shared_cells() if pool.joined else NO_CELLS
        papers = {key: paper.nominal_exposure_index for key, paper in scope.papers.items()}
        said: dict[str, Any] = {"source": str(pool.source), "secret": bytes(pool.secret), "papers": papers}
        content = _content(make_packet(cells, revision=0, **said))
        if content != pool.packet_content:
            pool.packet_revision, pool.packet_content = pool.packet_revision + 1, content
            pool.save(update_fields=["packet_revision", "packet_content"])
    return make_packet(cells, revision=pool.packet_revision, **said)


def _content(packet: Packet) -> str:
    """A digest of all but the revision."""
    return hashlib.sha256(json.dumps(packet, sort_keys=True).encode()).hexdigest()


def packets_in(*, club: Club) -> QuerySet[ReceivedPacket]:
    return ReceivedPacket.objects.filter(club=club).select_related("received_by").defer("content")


def packet_in(*, club: Club, id: uuid.UUID) -> ReceivedPacket:  # noqa: A002
    found = packets_in(club=club).filter(pk=id).first()
    if found is None:
        raise Http404
    return found


def receive_packet(*, actor: Membership, content: Any) -> tuple[ReceivedPacket, bool]:
    """Count another server's packet in; returns it and whether anything changed.

    The same packet again is the same; a later revision takes the earlier one's place, and an earlier one is a
    `Conflict`.
    """
    check_role(membership=actor, action="exchange_packets")
    try:
        packet = open_packet(content)
    except Impossible as fault:
        refuse(fault)
    _check_words(packet.indices, packet.cells.grade.tolist())
    if Pool.objects.filter(source=_uuid(packet.source)).exists():
        raise Conflict("This packet comes from a club on this server; its shared logs count here through the pool.")
    facts = {
        "packet_revision": packet.revision,
        "checksum": packet.checksum,
        "content": content,
        "logs": round(float(packet.cells.logs.sum())),
        "received_by": actor.user,
        "withdrawn_at": None,
    }
    with transaction.atomic():
        stored, new = ReceivedPacket.objects.select_for_update().get_or_create(
            club=actor.club, source=packet.source, defaults=facts
        )
        if not new:
            if stored.checksum == packet.checksum and stored.withdrawn_at is None:
                return stored, False
            if packet.revision < stored.packet_revision:
                raise Conflict(f"Revision {stored.packet_revision} of this packet is here already, which is newer.")
            if packet.revision == stored.packet_revision and stored.checksum != packet.checksum:
                raise Conflict("Another packet of the same source and revision is here; ask the sender which is right.")
            for name, value in facts.items():
                setattr(stored, name, value)
            stored.revision += 1
            stored.save()
        mark_changed(club_id=actor.club_id, shared=False)
    return stored, True


def withdraw_packet(*, actor: Membership, id: uuid.UUID, expected: Expected) -> ReceivedPacket:  # noqa: A002
    """Count a packet no longer. Receiving it again counts it again."""
    check_role(membership=actor, action="exchange_packets")
    with transaction.atomic():
        packet = ReceivedPacket.objects.select_for_update().filter(club=actor.club, pk=id).first()
        if packet is None:
            raise Http404
        expected.check(packet.revision)
        if packet.withdrawn_at is None:
            packet.withdrawn_at, packet.revision = timezone.now(), packet.revision + 1
            packet.save(update_fields=["withdrawn_at", "revision"])
            mark_changed(club_id=actor.club_id, shared=False)
    return packet


def _check_words(indices: dict[str, float], grades: list[str]) -> None:
    """Papers must go by catalogue keys and grades by their names, or they would be taken for something new."""
    odd = [key for key in indices if key != catalogue_key(name=key.rpartition("|")[0], family=family_of(key))]
    if odd:
        text = f"“{odd[0]}” is no catalogue key: the paper's words in small letters, a bar, its family's."
        raise ValidationError({"papers": [impossible(text, "packet_papers")]})
    unknown = sorted(set(grades) - set(Grade.values))
    if unknown:
        text = f"“{unknown[0]}” is no grade of evidence: {', '.join(Grade.values)}."
        raise ValidationError({"cells": [impossible(text, "packet_grade")]})


def _uuid(text: str) -> uuid.UUID:
    try:
        return uuid.UUID(text)
    except ValueError:
        return uuid.UUID(int=0)
