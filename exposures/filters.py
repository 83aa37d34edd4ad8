"""The filters of the lists of papers and logs, each so that an index of its own answers it."""

from datetime import datetime
from typing import Any

import django_filters
from django import forms
from django.contrib.auth import get_user_model
from django.db.models import QuerySet
from rest_framework import serializers

from clubs.models import CameraSpec, Person
from exposures.models import ExposureLog, Paper
from pinpool.http.fields import Instant


class PaperFilter(django_filters.FilterSet):
    retired = django_filters.BooleanFilter("retired_at", "isnull", exclude=True)

    class Meta:
        model = Paper
        fields: list[str] = []


class MomentField(forms.CharField):
    """A date and time in a query, read as everywhere else."""

    def clean(self, value: Any) -> datetime | None:
        if value in self.empty_values:
            return None
        try:
            return Instant().to_internal_value(value)
        except serializers.ValidationError as fault:
            [detail] = fault.detail
            text = f"{detail} In an address, + is written %2B."
            raise forms.ValidationError(text, str(detail.code)) from None  # type: ignore[union-attr]


class MomentFilter(django_filters.Filter):
    field_class = MomentField


class ExposureFilter(django_filters.FilterSet):
    """Cameras, members and people are looked up first, so that the log is asked for one column of its own."""

    camera = django_filters.CharFilter(method="by_camera", max_length=12)
    paper = django_filters.UUIDFilter("paper_id")
    member = django_filters.CharFilter(method="by_member", max_length=254)
    person = django_filters.CharFilter(method="by_person", max_length=254)
    without_account = django_filters.BooleanFilter("person_id", "isnull", exclude=True)
    visibility = django_filters.CharFilter(method="by_visibility")
    shared = django_filters.BooleanFilter("shared")
    judged = django_filters.BooleanFilter(method="by_result")
    since = MomentFilter("taken_at", "gte")
    until = MomentFilter("taken_at", "lt")
    corrected = django_filters.BooleanFilter(method="any_way")

    class Meta:
        model = ExposureLog
        fields: list[str] = []

    def filter_queryset(self, queryset: QuerySet) -> QuerySet:
        """Corrected entries are left out unless they are asked for.

        Where a time is asked for, a bound that every entry meets keeps SQLite, which cannot tell how many lie in it, to
        the order of the page instead of sorting all of them.
        """
        rows = super().filter_queryset(queryset)
        if self.form.cleaned_data["since"] or self.form.cleaned_data["until"]:
            rows = rows.filter(number__gt=0)
        return rows if self.form.cleaned_data["corrected"] else self.unasked(rows)

    @staticmethod
    def unasked(rows: QuerySet) -> QuerySet:
        """What is left where no filter is asked for."""
        return rows.filter(corrected_at=None)

    def any_way(self, rows: QuerySet, _name: str, _value: bool) -> QuerySet:
        return rows

    def by_result(self, rows: QuerySet, _name: str, value: bool) -> QuerySet:
        return rows.filter(result__isnull=not value)

    def by_camera(self, rows: QuerySet, _name: str, value: str) -> QuerySet:
        club = self.request.resolver_match.kwargs["club"]
        specs = CameraSpec.objects.filter(camera__club__slug=club, camera__code=value.upper())
        return one_of(rows, "spec", list(specs.values_list("pk", flat=True)))

    def by_member(self, rows: QuerySet, _name: str, value: str) -> QuerySet:
        users = get_user_model()._default_manager.filter(**{get_user_model().USERNAME_FIELD: value})
        return one_of(rows, "member", list(users.values_list("pk", flat=True)))

    def by_person(self, rows: QuerySet, _name: str, value: str) -> QuerySet:
        people = Person.objects.filter(club__slug=self.request.resolver_match.kwargs["club"], name=value)
        return one_of(rows, "person", list(people.values_list("pk", flat=True)))

    def by_visibility(self, rows: QuerySet, _name: str, value: str) -> QuerySet:
        if value == "private":
            return rows.filter(private=True, member_id=self.request.user.pk)
        return rows.filter(private=False, shared=value == "shared")


def one_of(rows: QuerySet, name: str, keys: list[Any]) -> QuerySet:
    """Rows whose foreign key is among some. Equality with one key keeps an index in the order of the pages."""
    return rows.filter(**{f"{name}_id": keys[0]} if len(keys) == 1 else {f"{name}_id__in": keys})
