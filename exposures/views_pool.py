"""The endpoints for what clubs share: the pool, the catalogue and its merges, packets to and from other servers."""

import uuid

from rest_framework.request import Request
from rest_framework.response import Response

from clubs.views import READ, WRITE, ClubView
from exposures import outputs, pooling, selectors
from pinpool.http.etags import Expected
from pinpool.http.pages import PAGE_QUERY, page_of_list
from pinpool.http.parsers import StrictJSONParser
from pinpool.http.schema import Operation, page_of

CHANGE = (*WRITE, 412, 428)


class PoolView(ClubView):
    """Whether the club has joined the pool."""

    query = {}
    actions = {"GET": "read_pool", "PUT": "join_pool"}
    operations = {
        "GET": Operation(gives=outputs.PoolOut, refusals=READ),
        "PUT": Operation(takes=outputs.PoolIn, gives=outputs.PoolOut, refusals=CHANGE),
    }

    def get(self, request: Request, club: str) -> Response:
        return self.one(selectors.pool_shown(self.member.club), outputs.PoolOut)

    def put(self, request: Request, club: str) -> Response:
        member = self.member
        joined = self.read(request, outputs.PoolIn)["joined"]
        pooling.join_pool(actor=member, joined=joined, expected=Expected.by(request))
        return self.one(selectors.pool_shown(member.club), outputs.PoolOut)


class CatalogueView(ClubView):
    """Every paper that counts for the club, its own and others', as clubs know them."""

    query = PAGE_QUERY
    actions = {"GET": "read_pool"}
    operations = {"GET": Operation(gives=outputs.CatalogueOut, page=True, refusals=READ)}

    def get(self, request: Request, club: str) -> Response:
        page = page_of_list(request, selectors.catalogue_of(self.member.club), key="key")
        return self.answer(page, page_of(outputs.CatalogueOut))


class MergesView(ClubView):
    """Which papers a keeper says are the same, the newest word first."""

    query = PAGE_QUERY
    actions = {"GET": "read_pool", "POST": "merge_papers"}
    operations = {
        "GET": Operation(gives=outputs.MergeOut, page=True, refusals=READ),
        "POST": Operation(takes=outputs.MergeIn, gives=outputs.MergeOut, status=201, refusals=WRITE),
    }

    def get(self, request: Request, club: str) -> Response:
        return self.page(pooling.merges_in(club=self.member.club), outputs.MergeOut, key="id", newest_first=True)

    def post(self, request: Request, club: str) -> Response:
        merge = pooling.merge_papers(actor=self.member, **self.read(request, outputs.MergeIn))
        return self.one(merge, outputs.MergeOut, 201)


class MergeView(ClubView):
    """One merge. Deleting it makes them two papers again; the merge stays on record."""

    query = {}
    actions = {"GET": "read_pool", "DELETE": "merge_papers"}
    operations = {
        "GET": Operation(gives=outputs.MergeOut, refusals=READ),
        "DELETE": Operation(gives=outputs.MergeOut, refusals=CHANGE),
    }

    def get(self, request: Request, club: str, number: int) -> Response:
        return self.one(pooling.merge_in(club=self.member.club, number=number), outputs.MergeOut)

    def delete(self, request: Request, club: str, number: int) -> Response:
        merge = pooling.undo_merge(actor=self.member, number=number, expected=Expected.by(request))
        return self.one(merge, outputs.MergeOut)


class PacketParser(StrictJSONParser):
    """Reads packets, which may be longer than other bodies."""

    size_setting, max_values = "MAX_PACKET_BYTES", 300_000  # 12 values a cell: more than the bytes will hold


class PacketsView(ClubView):
    """Packets from clubs on other servers; they count once the club has joined the pool."""

    parser_classes = [PacketParser]
    query = PAGE_QUERY
    actions = {"GET": "read_packets", "POST": "exchange_packets"}
    operations = {
        "GET": Operation(gives=outputs.ReceivedPacketOut, page=True, refusals=READ),
        "POST": Operation(
            takes=outputs.PacketBody, gives=outputs.ReceivedPacketOut, status=201, again=True, refusals=WRITE
        ),
    }

    def get(self, request: Request, club: str) -> Response:
        return self.page(pooling.packets_in(club=self.member.club), outputs.ReceivedPacketOut, key="id")

    def post(self, request: Request, club: str) -> Response:
        packet, new = pooling.receive_packet(actor=self.member, content=self.read(request, outputs.PacketBody))
        return self.one(packet, outputs.ReceivedPacketOut, 201 if new else 200)


class OwnPacketView(ClubView):
    """The club's own packet, to be handed to clubs on other servers; empty unless it has joined the pool."""

    query = {}
    actions = {"GET": "exchange_packets"}
    operations = {"GET": Operation(gives=outputs.PacketBody, refusals=READ)}

    def get(self, request: Request, club: str) -> Response:
        return self.answer(pooling.own_packet(actor=self.member), outputs.PacketBody)


class PacketView(ClubView):
    """One received packet. Deleting it withdraws it: it counts no longer, until it is received again."""

    query = {}
    actions = {"GET": "read_packets", "DELETE": "exchange_packets"}
    operations = {
        "GET": Operation(gives=outputs.ReceivedPacketOut, refusals=READ),
        "DELETE": Operation(gives=outputs.ReceivedPacketOut, refusals=CHANGE),
    }

    def get(self, request: Request, club: str, id: uuid.UUID) -> Response:  # noqa: A002
        return self.one(pooling.packet_in(club=self.member.club, id=id), outputs.ReceivedPacketOut)

    def delete(self, request: Request, club: str, id: uuid.UUID) -> Response:  # noqa: A002
        packet = pooling.withdraw_packet(actor=self.member, id=id, expected=Expected.by(request))
        return self.one(packet, outputs.ReceivedPacketOut)
