"""The object takes the text's place, in a transaction of its own: the rows were changed in the one before."""

from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("pinpool_exposures", "0005_process_visibility_corrections")]

    operations = [
        migrations.RemoveField("exposurelog", "process"),
        migrations.RenameField("exposurelog", "process_told", "process"),
    ]
