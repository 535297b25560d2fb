from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("shop", "0004_audit_guard")]

    operations = [
        migrations.AddField("person", "sessions_ended", models.PositiveIntegerField(default=0, db_default=0)),
    ]
