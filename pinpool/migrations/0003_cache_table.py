"""The table of the stand-alone service's cache. A host site that keeps its own cache gets none."""

from django.conf import settings
from django.core.management import call_command
from django.db import migrations

TABLE = "pinpool_cache"


def make_table(apps, schema_editor):
    if any(cache.get("LOCATION") == TABLE for cache in settings.CACHES.values()):
        call_command("createcachetable", TABLE, database=schema_editor.connection.alias, verbosity=0)


class Migration(migrations.Migration):
    dependencies = [("pinpool", "0002_token_scope")]

    operations = [migrations.RunPython(make_table, migrations.RunPython.noop)]
