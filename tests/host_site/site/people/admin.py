"""People at the cooperative's own desk."""

from django.contrib import admin

from people.models import Person


@admin.register(Person)
class PersonAdmin(admin.ModelAdmin):
    list_display = ("email", "called")
    fields = ("email", "called", "is_active", "is_staff")
