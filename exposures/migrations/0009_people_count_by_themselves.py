"""People without an account as authors: one author to a log, one cell to an author, and indexes for the log's filters.

A constraint over both columns would hold nothing, since one of them is always null.
"""

import django.db.models.deletion
from django.db import migrations, models

CELL = ("paper", "spec", "grade", "shared")
PEOPLES = models.Q(person__isnull=False)


def one_cell(who: str) -> models.UniqueConstraint:
    return models.UniqueConstraint(
        fields=[*CELL[:2], who, *CELL[2:]],
        condition=models.Q(**{f"{who}__isnull": False}),
        name=f"pinpool_one_cell_for_each_{who}",
    )


class Migration(migrations.Migration):
    dependencies = [("pinpool_exposures", "0008_workshops_and_people")]

    operations = [
        migrations.RemoveConstraint("evidencecell", "pinpool_one_cell_for_each_key"),
        migrations.AddConstraint("evidencecell", one_cell("member")),
        migrations.AddConstraint("evidencecell", one_cell("person")),
        migrations.AlterField(
            "exposurelog",
            "person",
            models.ForeignKey(
                "pinpool_clubs.person",
                django.db.models.deletion.SET_NULL,
                null=True,
                db_index=False,
                related_name="exposures",
            ),
        ),
        migrations.AddConstraint(
            "exposurelog",
            models.CheckConstraint(
                condition=models.Q(member=None) | models.Q(person=None), name="pinpool_log_has_one_author"
            ),
        ),
        migrations.AddIndex(
            "exposurelog",
            models.Index(fields=["person", "club", "-number"], condition=PEOPLES, name="pinpool_log_by_person"),
        ),
        migrations.AddIndex(
            "exposurelog",
            models.Index(fields=["club", "-number"], condition=PEOPLES, name="pinpool_log_without_account"),
        ),
    ]
