"""Private and corrected logs, an index for each filter, and the column that the process moves to as an object."""

from typing import Any

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


def move(apps: Any, schema_editor: Any) -> None:  # noqa: ARG001  (Django's signature)
    """What was one text becomes the object's note."""
    logs = apps.get_model("pinpool_exposures", "ExposureLog").objects.exclude(process="").only("process")
    changed = []
    for log in logs.order_by("number").iterator(chunk_size=2000):
        log.process_told = {"note": log.process, "typed": {}}
        changed.append(log)
        if len(changed) == 2000:
            logs.bulk_update(changed, ["process_told"])
            changed = []
    logs.bulk_update(changed, ["process_told"])


def back(apps: Any, schema_editor: Any) -> None:  # noqa: ARG001
    """Every word of the object in one text, as far as a text can hold it."""
    logs = apps.get_model("pinpool_exposures", "ExposureLog").objects.filter(process_told__isnull=False)
    for log in logs.iterator(chunk_size=2000):
        words = {name: value for name, value in log.process_told.items() if name not in {"note", "typed"}}
        told = [f"{name} {value}" for name, value in words.items()]
        logs.filter(pk=log.pk).update(process=", ".join([*told, *filter(None, [log.process_told.get("note")])]))


def key(to: str, **how: Any) -> models.ForeignKey:
    return models.ForeignKey(db_index=False, related_name="exposures", to=to, **how)


class Migration(migrations.Migration):
    dependencies = [
        ("pinpool_clubs", "0002_registry"),
        ("pinpool_exposures", "0004_stock_and_imports"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.AddField("exposurelog", "private", models.BooleanField(default=False)),
        migrations.AddField("exposurelog", "corrected_at", models.DateTimeField(editable=False, null=True)),
        migrations.AddIndex("exposurelog", models.Index(fields=["club", "taken_at"], name="pinpool_log_by_time")),
        migrations.AddIndex("exposurelog", models.Index(fields=["spec", "-number"], name="pinpool_log_by_spec")),
        migrations.AddIndex("exposurelog", models.Index(fields=["member", "-number"], name="pinpool_log_by_member")),
        migrations.AddIndex(
            "exposurelog",
            models.Index(fields=["club", "-number"], condition=models.Q(shared=True), name="pinpool_log_shared"),
        ),
        migrations.AddIndex(
            "exposurelog",
            models.Index(fields=["member", "-number"], condition=models.Q(private=True), name="pinpool_log_private"),
        ),
        migrations.AddIndex(
            "exposurelog",
            models.Index(
                fields=["club", "-number"], condition=models.Q(result__isnull=True), name="pinpool_log_unjudged"
            ),
        ),
        migrations.AddConstraint(
            "exposurelog",
            models.CheckConstraint(
                condition=~models.Q(shared=True, private=True), name="pinpool_log_not_shared_and_private"
            ),
        ),
        migrations.AlterField(
            "exposurelog", "club", key("pinpool_clubs.club", on_delete=django.db.models.deletion.CASCADE)
        ),
        migrations.AlterField(
            "exposurelog", "spec", key("pinpool_clubs.cameraspec", on_delete=django.db.models.deletion.PROTECT)
        ),
        migrations.AlterField(
            "exposurelog", "paper", key("pinpool_exposures.paper", on_delete=django.db.models.deletion.PROTECT)
        ),
        migrations.AlterField(
            "exposurelog",
            "member",
            models.ForeignKey(
                db_index=False,
                null=True,
                on_delete=django.db.models.deletion.SET_NULL,
                related_name="pinpool_exposures",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.AddField("exposurelog", "process_told", models.JSONField(null=True)),
        migrations.RunPython(move, back),
    ]
