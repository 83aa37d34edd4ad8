"""The bench and the hole page as the server renders them: for whom, with which choices, and safe from hostile names."""

from types import SimpleNamespace
from typing import Any

import pytest
from django.test import Client

from optics.core.profiles import flat
from optics.core.sheet_cuts import NAMED_SHEETS
from optics.web.views import kinds_of
from pinpool.plugins import registry
from pinpool.plugins.loading import find, load_all
from pinpool.plugins.model import PLUGIN_API_VERSION, Contribution, Parameter, Plugin
from pinpool.plugins.registry import contributions
from tests.factories import AccountFactory, MembershipFactory

HOSTILE = '"><script>alert(1)</script>'


def page(path: str, client: Client | None = None) -> str:
    response = (client or Client()).get(path)
    assert response.status_code == 200
    assert "script-src 'self'" in response.headers["Content-Security-Policy"]
    return response.content.decode()


@pytest.mark.parametrize("path", ["/bench/", "/hole/"])
def test_anybody_may_read_it_and_no_row_is_asked_for(path: str, db: None, django_assert_num_queries: Any) -> None:
    with django_assert_num_queries(0):
        text = page(path)
    assert " style=" not in text
    assert "thin shim cuts" in text
    assert "<noscript>" in text


def test_every_kind_of_film_plane_is_offered_with_the_parameters_it_declares(db: None) -> None:
    text = page("/bench/")
    for name, kind in contributions("film_planes").items():
        assert f'<option value="{name}">' in text
        for parameter in kind.parameters:
            assert f'id="{name}-film_plane/{parameter.name}" name="film_plane/{parameter.name}"' in text
    for point in ("receptors", "hole_rules"):
        for each in contributions(point).values():
            assert each.label.replace("_", " ")[1:] + "</option>" in text
    assert all(f"<option>{sheet}</option>" in text for sheet in NAMED_SHEETS)


def _tent(*, width_mm: float, slope: float, hole_offset_x_mm: float) -> Any:
    return flat(width_mm=width_mm, distance_mm=width_mm * slope, hole_offset_x_mm=hole_offset_x_mm)


def test_a_contributed_kind_is_offered_and_its_words_are_text_only(db: None, monkeypatch: pytest.MonkeyPatch) -> None:
    size = Parameter("width", "length", f"of the tent {HOSTILE}", minimum=1.0, maximum=1000.0)
    slope = Parameter("slope", "number", "of the tent", minimum=0.1, maximum=5.0, required=False, default=1.0)
    tent = Contribution("tent", f"a tent {HOSTILE}", "invented", _tent, (size, slope))
    guest = Plugin(name="guest", version="1", api_version=PLUGIN_API_VERSION, film_planes=(tent,))
    found = SimpleNamespace(
        name="guest", value="guest:plugin", dist=SimpleNamespace(name="guest-package"), load=lambda: guest
    )
    entries = tuple(load_all([*find(), found]))  # type: ignore[list-item]
    monkeypatch.setattr(registry, "loaded", lambda: entries)
    text = page("/bench/")
    assert '<option value="tent">' in text
    assert 'name="film_plane/slope"' in text
    assert HOSTILE not in text
    assert "&lt;script&gt;" in text
    [kind] = [kind for kind in kinds_of("film_planes", "film_plane") if kind.name == "tent"]
    assert [(field.key, field.reads_as, field.required) for field in kind.fields] == [
        ("film_plane/width", "length", True),
        ("film_plane/slope", "number", False),
    ]
    assert kind.fields[1].hint == "Of the tent. 1 unless told."


def test_saving_is_offered_to_accounts_alone(db: None) -> None:
    assert 'id="save"' not in page("/bench/")
    client = Client()
    client.force_login(MembershipFactory.create().user)
    assert 'id="save"' in page("/bench/", client)


def test_lengths_follow_the_reader(db: None) -> None:
    client = Client()
    client.cookies["pinpool_lengths"] = "in"
    assert "<span data-unit>in</span>" in page("/hole/", client)


def test_a_hostile_name_of_an_account_is_text_only(db: None) -> None:
    client = Client()
    client.force_login(AccountFactory.create(username=HOSTILE))
    for path in ("/bench/", "/hole/"):
        assert HOSTILE not in page(path, client)


def test_only_reading_is_possible(db: None) -> None:
    for path in ("/bench/", "/hole/"):
        assert Client().post(path).status_code == 405
