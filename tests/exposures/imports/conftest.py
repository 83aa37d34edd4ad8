"""A club with two cameras and a paper, and what it takes to send it a sheet."""

from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from tests.factories import CameraSpecFactory, MembershipFactory, PaperFactory


class Club:
    """A keeper's club with the cameras T1 and T2 (f/259) and the paper Glasswort."""

    def __init__(self, as_user: Any) -> None:
        self.keeper = MembershipFactory.create(role="keeper")
        self.club, self.as_user = self.keeper.club, as_user
        self.client = as_user(self.keeper.user)
        for number in (1, 2):
            CameraSpecFactory.create(
                camera__club=self.club, camera__code=f"T{number}", camera__name=f"Tea caddy {number}"
            )
        self.paper = PaperFactory.create(club=self.club, name="Glasswort")
        self.at = f"/api/v1/clubs/{self.club.slug}/imports/"

    def join(self, role: str) -> Any:
        """A client of a new member."""
        return self.as_user(MembershipFactory.create(club=self.club, role=role).user)

    def send(
        self, data: bytes, *, client: Any = None, name: str = "log.csv", kind: str = "exposures", **more: Any
    ) -> Any:
        body = {"file": SimpleUploadedFile(name, data), "kind": kind} | more
        return (client or self.client).post(self.at, body, format="multipart")

    def bring(self, data: bytes, **more: Any) -> Any:
        response = self.send(data, **more)
        assert response.status_code == 201, response.content
        return response.json()

    def change(self, batch: Any, body: Any, status: int = 200) -> Any:
        return self._do("patch", batch, "", body, status)

    def apply(self, batch: Any, rows: str = "all", status: int = 200) -> Any:
        return self._do("post", batch, "apply/", {"rows": rows}, status)

    def undo(self, batch: Any, status: int = 200) -> Any:
        return self._do("post", batch, "undo/", {}, status)

    def _do(self, method: str, batch: Any, path: str, body: Any, status: int) -> Any:
        headers = {"If-Match": f'"r{batch["revision"]}"'}
        response = getattr(self.client, method)(f"{self.at}{batch['id']}/{path}", body, headers=headers)
        assert response.status_code == status, response.content
        return response.json()

    def rows(self, batch: Any, query: str = "") -> list[Any]:
        """Every row of the report, over all pages."""
        found, at = [], f"{self.at}{batch['id']}/rows/?page_size=200{query}"
        while at:
            page = self.client.get(at).json()
            found += page["results"]
            at = page["next"] if page["results"] else None
        return found


@pytest.fixture
def here(as_user: Any) -> Club:
    return Club(as_user)
