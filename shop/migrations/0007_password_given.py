from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("shop", "0006_token_ends")]

    operations = [
        migrations.AddField("person", "password_given_at", models.DateTimeField(null=True)),
    ]
