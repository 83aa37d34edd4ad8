"""The examples that the document gives are taken as they stand, but for the ids of what is really there."""

from typing import Any

import pytest

from pinpool.examples import EXAMPLES
from pinpool.openapi import document
from tests.factories import CameraSpecFactory, ClubFactory, DesignFactory, MembershipFactory, PaperFactory


@pytest.fixture
def keeper(db: None) -> Any:
    """Of a club in which there is what the examples name."""
    keeper = MembershipFactory.create(role="keeper", club=ClubFactory.create(slug="creek"))
    CameraSpecFactory.create(camera__club=keeper.club, camera__code="T1")
    return keeper


def test_every_example_is_taken(as_user: Any, keeper: Any) -> None:
    there = {"paper": PaperFactory.create(club=keeper.club).pk, "design": DesignFactory.create(club=keeper.club).pk}
    client, shown = as_user(keeper.user), {}
    for path, methods in document()["paths"].items():
        for method, call in methods.items():
            for media in call.get("requestBody", {}).get("content", {}).values():
                for example in media.get("examples", {}).values():
                    body = shown[call["operationId"]] = example["value"]
                    address = path.format(club="creek", code="T1")
                    response = getattr(client, method)(
                        address, body | {key: there[key] for key in there if key in body}
                    )
                    assert response.status_code in (200, 201), (address, response.content)
    assert shown == EXAMPLES
