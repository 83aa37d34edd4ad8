from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('pinpool_clubs', '0005_plugins_of_a_club'),
    ]

    operations = [
        migrations.AlterField(
            model_name='person',
            name='name',
            field=models.CharField(blank=True, max_length=254),
        ),
        migrations.AlterField(
            model_name='trailentry',
            name='actor_name',
            field=models.CharField(max_length=254),
        ),
    ]
