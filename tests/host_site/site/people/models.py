"""The cooperative's accounts: known by e-mail, keyed by UUID, without a field called username."""

import uuid
from typing import Any

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.contrib.auth.models import PermissionsMixin
from django.db import models


class People(BaseUserManager["Person"]):
    def create_user(self, email: str, password: str | None = None, **facts: Any) -> "Person":
        person = self.model(email=self.normalize_email(email), **facts)
        person.set_password(password)
        person.save(using=self._db)
        return person

    def create_superuser(self, email: str, password: str | None = None, **facts: Any) -> "Person":
        return self.create_user(email, password, is_staff=True, is_superuser=True, **facts)


class Person(AbstractBaseUser, PermissionsMixin):
    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    email = models.EmailField(unique=True)
    called = models.CharField(max_length=80)
    is_active = models.BooleanField(default=True)
    is_staff = models.BooleanField(default=False)

    people = People()

    USERNAME_FIELD = "email"
    REQUIRED_FIELDS = ["called"]

    class Meta:
        verbose_name_plural = "people"

    def __str__(self) -> str:
        return self.called
