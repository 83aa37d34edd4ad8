"""An index of former members' cells, which every fingerprint counts, in a pool those of all its clubs."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("pinpool_exposures", "0010_embedding")]

    operations = [
        migrations.AddIndex(
            "evidencecell",
            models.Index(
                fields=["member", "person", "club"],
                condition=models.Q(member=None, person=None),
                name="pinpool_cell_of_nobody",
            ),
        ),
    ]
