"""What is shown of an account, whatever the site's user model."""

import hashlib
from dataclasses import dataclass
from datetime import datetime
from typing import Any


@dataclass(frozen=True)
class Account:
    """Shown to its owner alone. `revision` stands for the other values: no user model counts its revisions."""

    username: str
    email: str
    joined_at: datetime | None

    @classmethod
    def of(cls, user: Any) -> "Account":
        email = getattr(user, user.get_email_field_name(), "")
        return cls(user.get_username(), email, getattr(user, "date_joined", None))

    @property
    def revision(self) -> int:
        return int.from_bytes(hashlib.sha256(f"{self.username}\0{self.email}".encode()).digest()[:6])
