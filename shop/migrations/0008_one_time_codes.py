from django.contrib.postgres.fields import ArrayField
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("shop", "0007_password_given")]

    operations = [
        migrations.AddField("shop", "code_required", models.BooleanField(default=False, db_default=False)),
        migrations.AddField(
            "person", "totp_secret", models.CharField(max_length=32, blank=True, default="", db_default="")
        ),
        migrations.AddField("person", "totp_step", models.BigIntegerField(default=0, db_default=0)),
        migrations.AddField("person", "code_wrong", models.PositiveSmallIntegerField(default=0, db_default=0)),
        migrations.AddField(
            "person", "recovery", ArrayField(models.CharField(max_length=64), default=list, db_default=[])
        ),
    ]
