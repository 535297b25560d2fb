from django.contrib.postgres.operations import AddIndexConcurrently
from django.db import migrations, models


class Migration(migrations.Migration):
    """While it is built the shop goes on: so it stands outside of a transaction."""

    atomic = False

    dependencies = [
        ('plates', '0018_transfers'),
    ]

    operations = [
        AddIndexConcurrently(
            model_name='plate',
            index=models.Index(condition=models.Q(('transfer__isnull', False)), fields=['shop', 'transfer'], name='plate_of_transfer'),
        ),
    ]
