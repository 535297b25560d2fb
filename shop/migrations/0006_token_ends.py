from datetime import timedelta

from django.db import migrations, models
from django.db.models.functions import Now


class Migration(migrations.Migration):
    """A token that is there already ends a year from now. PostgreSQL takes ``now()`` once, and rewrites no row."""

    dependencies = [("shop", "0005_sessions_ended")]

    operations = [
        migrations.AddField("token", "ends_at", models.DateTimeField(db_default=Now() + timedelta(days=365))),
    ]
