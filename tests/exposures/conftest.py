"""A club with a camera and a paper, for the tests of papers, logs and what they say."""

from typing import Any

import numpy as np
import pytest
from rest_framework.test import APIClient

from tests.exposures.archives import Made
from tests.factories import CameraSpecFactory, ExposureLogFactory, MembershipFactory, PaperFactory


class Here:
    """A member's client in a club with a camera T1 (f/259) and one paper of index 6."""

    def __init__(self, client: APIClient, member: Any) -> None:
        self.client, self.member, self.club = client, member, member.club
        self.spec = CameraSpecFactory.create(camera__club=self.club, camera__code="T1")
        self.paper = PaperFactory.create(club=self.club, name="Glasswort")
        self.at = f"/api/v1/clubs/{self.club.slug}/"

    def body(self, **more: Any) -> dict[str, Any]:
        facts = {"camera": "T1", "paper": str(self.paper.id), "taken_at": "2026-05-01T12:00:00Z",
                 "reading": {"ev": 13}, "exposure_time": "4 min"}  # fmt: skip
        return facts | more

    def log(self, status: int = 201, **more: Any) -> Any:
        response = self.client.post(self.at + "exposures/", self.body(**more))
        assert response.status_code == status, response.content
        return response.json()

    def recommend(self, **more: Any) -> Any:
        body = {"camera": "T1", "paper": str(self.paper.id), "reading": {"ev": 13}} | more
        response = self.client.post(self.at + "recommendation/", body)
        assert response.status_code == 200, response.content
        return response.json()

    def judged(self, exponent: float = 1.3, offset: float = 0.5, count: int = 9) -> None:
        """Logs of a paper that follows the law exactly: each time given was the right one."""
        for time in np.geomspace(5, 3000, count):
            effect = offset + np.log2(time) / exponent
            ExposureLogFactory.create(
                spec=self.spec, paper=self.paper, exposure_time_s=time, indicated_time_s=2**effect
            )

    def season(
        self, exponent: float = 1.3, offset: float = 0.5, count: int = 60, scatter: float = 0.02, seed: int = 1
    ) -> None:
        """Logs by four members with four cameras, each camera and member in turn, off a law by `scatter` stops."""
        rng = np.random.default_rng(seed)
        specs = [self.spec, *(CameraSpecFactory.create(camera__club=self.club) for _ in range(3))]
        members = [self.member.user, *(MembershipFactory.create(club=self.club).user for _ in range(3))]
        for number, time in enumerate(np.geomspace(5, 3000, count)):
            effect = offset + np.log2(time) / exponent + scatter * rng.standard_normal()
            ExposureLogFactory.create(
                spec=specs[number % 4],
                paper=self.paper,
                member=members[number // 4 % 4],
                exposure_time_s=time,
                indicated_time_s=2**effect,
            )


@pytest.fixture
def made(as_user: Any, settings: Any, tmp_path: Any) -> Made:
    """A club with something in every table, for its archive."""
    settings.MEDIA_ROOT = tmp_path
    return Made(as_user)


@pytest.fixture
def here(as_user: Any) -> Here:
    member = MembershipFactory.create(role="leader")
    return Here(as_user(member.user), member)
