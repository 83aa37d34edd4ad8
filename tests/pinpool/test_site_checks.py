"""What is said of a site's settings that Pinpool could not work with."""

from typing import Any

import pytest

from pinpool.apps import check_sign_in_page, check_time_zones


@pytest.mark.parametrize(
    ("told", "login", "found"),
    [
        ({"OWN_ACCOUNTS": True}, "/nowhere/", []),
        ({}, "/api/v1/optics/nowhere/", []),  # answered, if by a refusal
        ({}, "https://door.saltmarsh.example/", []),
        ({}, "admin:login", []),
        ({"SIGN_IN_PAGE": "/door/?by=post"}, "admin:login", ["pinpool.W002"]),
        ({}, "/door/", ["pinpool.W002"]),
    ],
)
def test_where_people_sign_in(settings: Any, told: Any, login: str, found: list[str]) -> None:
    settings.ROOT_URLCONF = "tests.pinpool.urls_of_a_site"
    settings.PINPOOL, settings.LOGIN_URL = told, login
    assert [each.id for each in check_sign_in_page(None)] == found


def test_instants_need_their_offset(settings: Any) -> None:
    assert check_time_zones(None) == []
    settings.USE_TZ = False
    assert [each.id for each in check_time_zones(None)] == ["pinpool.E002"]
