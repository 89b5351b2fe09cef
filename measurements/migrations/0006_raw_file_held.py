from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('measurements', '0005_results_of_tables'),
    ]

    operations = [
        migrations.AddField(
            model_name='rawfile',
            name='held',
            field=models.BooleanField(default=True),
        ),
    ]
