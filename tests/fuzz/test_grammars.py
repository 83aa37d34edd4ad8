"""What people and programs write in few signs: quantities, origins, cursors, filters, and the queries of pages."""

import base64
import json
import math
from contextlib import suppress
from typing import Any

import pytest
from django.test import Client
from django.urls import get_resolver
from hypothesis import given
from hypothesis import strategies as st

from exposures.embed.models import Embedding
from exposures.embed.origins import origin_of
from pinpool.quantities import QuantityError, read_quantity
from pinpool.units import KINDS, UNITS
from tests.clubs.test_api import Here, routes
from tests.fuzz.effort import tries
from tests.fuzz.known import OPERATIONS, Known
from tests.fuzz.test_imports import CELLS

QUANTITIES = st.lists(
    st.one_of(
        st.sampled_from(["1", "20", "0.24", ".5", "1.", "9" * 40, "1e400", "1/60", "1/0", "0/0", "½", "1½", "5 3/8",
        "²", "٣"]),
        st.sampled_from([*UNITS, "'", '"', "″", "cd/m2", "min", "s", "h", "d", "f/", "°", "℃", "µ", "μ"]),
        st.sampled_from([" ", "\u00a0", "\u202f", "-", "−", "+", ",", ".", "/", "^", "*", "(", "e", "nan", "inf", "∞",
        "\0", "\n"]),
        st.text(max_size=2),
    ),
    max_size=8,
).map("".join)  # fmt: skip
ORIGINS = st.lists(
    st.sampled_from(
        ["https", "http", "://", ":", "//", "/", "[", "]", "::1", "%25", "@", ".", "-", "xn--", "a", "ß", "例",
        "\u200d", "localhost", "443",
         "80", "99999", "0", "²", "club", ".example", "#", "?", " ", "\0", "\n", "a" * 64, "*", "fe80::1%eth0", "٣",
         "。"],
    ),
    max_size=9,
).map("".join)  # fmt: skip


@tries(100, 30_000)
@given(text=QUANTITIES, kind=st.sampled_from(list(KINDS)))
def test_quantities(text: str, kind: str) -> None:
    """Read to a finite number, and then written out to be read as the same; or refused."""
    with suppress(QuantityError):
        quantity = read_quantity(text, kind)
        assert math.isfinite(quantity.value)
        unit = KINDS[kind].canonical
        assert read_quantity({"value": quantity.value, "unit": unit}, kind).value == pytest.approx(
            quantity.value, rel=1e-12
        )


@tries(100, 30_000)
@given(
    value=st.one_of(st.floats(), st.integers(), st.none(), st.booleans(), st.builds(list), CELLS),
    unit=CELLS,
    more=st.booleans(),
)
def test_quantities_as_objects(value: Any, unit: Any, more: bool) -> None:
    for kind in KINDS:
        for told in ({"value": value, "unit": unit}, {"value": value, "unit": KINDS[kind].canonical}, value):
            with suppress(QuantityError):
                assert math.isfinite(
                    read_quantity({**told, "x": 1} if more and isinstance(told, dict) else told, kind).value
                )


@tries(100, 30_000)
@given(text=ORIGINS)
def test_origins(text: str) -> None:
    """What is taken for an origin is its own origin, in plain letters."""
    found = origin_of(text)
    assert found is None or (origin_of(found) == found and found.isascii())


# ------------------------------------------------------------------------------------------------------- queries

EDGES = st.one_of(
    CELLS,
    st.integers().map(str),
    st.datetimes().map(str),
    st.uuids().map(str),
    st.sampled_from(["9" * 400, "1" * 5000]),
)
CURSORS = st.one_of(
    st.text(max_size=9),
    st.tuples(st.sampled_from(["f:", "b:", "", "x:"]), EDGES).map(
        lambda told: base64.urlsafe_b64encode("".join(told).encode()).decode()
    ),
    st.binary(max_size=9).map(lambda data: base64.urlsafe_b64encode(data).decode()),
)
ANSWERS = st.one_of(
    CELLS,
    EDGES,
    CURSORS,
    st.sampled_from(["true", "false", "in", "mm", "id", "id,id", "camera", "listed", "1", "200", "201"]),
)
#: What pages read from their query.
ASKED = ["next", "code", "retired", "cursor", "by", "state", "paper", "log", "logged", "camera", "lent", "owner",
"member", "since", "kind",
         "until", "judged", "page_size", "subject", "action", "to", "edit", "spec", "version", "look",
         "lengths"]  # fmt: skip


@pytest.fixture
def reader(here: Here) -> Client:
    """A browser that the keeper signed in with."""
    embedding = Embedding.objects.create(club=here.club, registry=True, origins=["https://walkers.example"])
    embedding.cameras.add(here.spec.camera)
    embedding.papers.add(here.paper)
    client = Client()
    client.force_login(here.members["keeper"].user)
    return client


def test_queries_of_the_api(here: Here, reader: Client) -> None:
    known, calls = Known(here), []
    for label, operation in OPERATIONS.items():
        names = sorted({each.name for each in operation.query})
        if label.startswith("GET ") and names:
            case = operation.Case(path_parameters={}, query={})
            known.put_names(case)
            calls.append((case.formatted_path, names))

    @tries(60, 10_000)
    @given(call=st.sampled_from(calls), data=st.data())
    def answered(call: Any, data: st.DataObject) -> None:
        path, names = call
        query = data.draw(st.dictionaries(st.sampled_from(names), ANSWERS, min_size=1, max_size=3))
        answer = reader.get(path, query)
        assert answer.status_code in {200, 400, 403, 404, 422}, (path, query, answer.content)

    answered()


def pages_of(here: Here) -> list[str]:
    """The address of each page, with things that exist."""
    known = {
        "<slug:club>": here.club.slug, "cameras/<slug:code>": "cameras/T1",
        "join/<slug:code>": f"join/{here.invitation.code}",
        "papers/<uuid:id>": f"papers/{here.paper.id}", "log/<uuid:id>": f"log/{here.log.id}",
        "imports/<uuid:id>": f"imports/{here.batch.pk}",
        "designs/<int:number>": f"designs/{here.design.pk}", "workshops/<int:number>": f"workshops/{here.workshop.pk}",
        "place/<str:code>": f"place/{here.place.code}", "<str:code>": "of-no-account", "<str:version>": "v1",
    }  # fmt: skip
    found = []
    for route, _ in routes(get_resolver("pinpool.page_urls")):
        for name, value in known.items():
            route = route.replace(name, value)  # noqa: PLW2901
        assert "<" not in route
        found.append(f"/{route}")
    return found


def test_queries_of_pages(here: Here, reader: Client) -> None:
    stranger = Client()

    @tries(50, 10_000)
    @given(
        path=st.sampled_from(pages_of(here)), query=st.dictionaries(st.sampled_from(ASKED), ANSWERS, max_size=3),
        signed_in=st.booleans(),
        cookies=st.dictionaries(st.sampled_from(["pinpool_look", "pinpool_lengths", "messages"]),
        st.sampled_from(["in", "darkroom", "\\000", "é"])),
    )  # fmt: skip
    def answered(path: str, query: dict[str, str], signed_in: bool, cookies: dict[str, str]) -> None:
        client = reader if signed_in else stranger
        client.cookies.load({name: value.encode().decode("latin-1") for name, value in cookies.items()})
        answer = client.get(path, query)
        assert answer.status_code < 500, (path, query)

    answered()


@pytest.mark.parametrize("path", ["club/", "cameras/T1/", "pool/"])
def test_what_a_change_is_meant_for(here: Here, path: str) -> None:
    """Any If-Match is read, and only one that names the revision, or every one, changes anything."""
    client, at = here.clients["keeper"], here.at + path.removeprefix("club/")
    tags = st.lists(
        st.sampled_from(['"r1"', 'W/"r1"', '"', ",", " ", "*", "r1", '"r99"', '""', "ÿ", '"r1']), max_size=5
    ).map("".join)

    @tries(30, 3000)
    @given(tag=tags)
    def answered(tag: str) -> None:
        before = client.get(at)["ETag"]
        send = client.put if path == "pool/" else client.patch
        body = {"club/": {"name": "Creek"}, "cameras/T1/": {"note": "new lid"}, "pool/": {"joined": True}}[path]
        answer = send(at, json.dumps(body), content_type="application/json", headers={"If-Match": tag})
        assert answer.status_code in {200, 412, 428}
        if answer.status_code == 200:
            assert {"*", before} & {each.strip().removeprefix("W/") for each in tag.split(",")}
        else:
            assert client.get(at)["ETag"] == before

    answered()
