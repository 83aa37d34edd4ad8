"""Indexes of few logs are made anew, so that SQLite takes them also for pages deep inside, and imported logs get one.

Of two indexes that would do as well, which without figures means by as many columns, SQLite takes the younger. The one
of imports held every log, most of them under null.
"""

import django.db.models.deletion
from django.db import migrations, models

FEW = {"pinpool_log_shared": models.Q(shared=True), "pinpool_log_unjudged": models.Q(result__isnull=True)}


class Migration(migrations.Migration):
    dependencies = [("pinpool_exposures", "0011_cells_of_former_members")]

    operations = [
        migrations.AlterField(
            "exposurelog",
            "imported_in",
            models.ForeignKey(
                null=True,
                editable=False,
                on_delete=django.db.models.deletion.SET_NULL,
                db_index=False,
                related_name="exposures",
                to="pinpool_exposures.importbatch",
            ),
        ),
        migrations.AddIndex(
            "exposurelog",
            models.Index(
                fields=["imported_in"],
                condition=models.Q(imported_in__isnull=False),
                name="pinpool_log_imported",
            ),
        ),
        *(migrations.RemoveIndex("exposurelog", name) for name in FEW),
        *(
            migrations.AddIndex(
                "exposurelog", models.Index(fields=["club", "-number"], condition=condition, name=name)
            )
            for name, condition in FEW.items()
        ),
    ]
