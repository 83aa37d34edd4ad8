"""A club's trail is found by `pinpool_trail_by_club`, which begins with the club: another index is written for nothing."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("pinpool_clubs", "0006_longer_names")]

    operations = [
        migrations.AlterField(
            "trailentry",
            "club",
            models.ForeignKey(
                on_delete=django.db.models.deletion.CASCADE,
                db_index=False,
                related_name="trail",
                to="pinpool_clubs.club",
            ),
        )
    ]
