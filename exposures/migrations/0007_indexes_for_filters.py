"""Indexes that a planner without figures takes too: both columns that a filter asks for, and the time beside a page's order.

Corrections get one of their own.
"""

from django.db import migrations, models

TWO_COLUMNS = {"pinpool_log_by_paper": "paper", "pinpool_log_by_spec": "spec", "pinpool_log_by_member": "member"}


class Migration(migrations.Migration):
    dependencies = [("pinpool_exposures", "0006_process_is_an_object")]

    operations = [
        *(
            migrations.RemoveIndex("exposurelog", name)
            for name in (*TWO_COLUMNS, "pinpool_log_private", "pinpool_log_by_club")
        ),
        migrations.AddIndex(
            "exposurelog", models.Index(fields=["club", "-number", "taken_at"], name="pinpool_log_by_club")
        ),
        *(
            migrations.AddIndex("exposurelog", models.Index(fields=[column, "club", "-number"], name=name))
            for name, column in TWO_COLUMNS.items()
        ),
        migrations.AddIndex(
            "exposurelog",
            models.Index(
                fields=["member", "club", "-number"], condition=models.Q(private=True), name="pinpool_log_private"
            ),
        ),
        migrations.AddIndex(
            "exposurelog",
            models.Index(
                fields=["corrects"], condition=models.Q(corrects__isnull=False), name="pinpool_log_corrections"
            ),
        ),
    ]
