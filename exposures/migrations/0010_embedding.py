"""What a club lets other web pages show."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("pinpool_clubs", "0004_designs_people_sheets"),
        ("pinpool_exposures", "0009_people_count_by_themselves"),
    ]

    operations = [
        migrations.CreateModel(
            name="Embedding",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("origins", models.JSONField(blank=True, default=list)),
                ("registry", models.BooleanField(default=False)),
                ("revision", models.PositiveIntegerField(default=1)),
                ("cameras", models.ManyToManyField(blank=True, related_name="+", to="pinpool_clubs.camera")),
                (
                    "club",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="embedding",
                        to="pinpool_clubs.club",
                    ),
                ),
                ("papers", models.ManyToManyField(blank=True, related_name="+", to="pinpool_exposures.paper")),
            ],
        ),
    ]
