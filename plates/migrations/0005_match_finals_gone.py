from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("plates", "0004_final_checks")]

    operations = [migrations.RemoveField(model_name="match", name="finals")]
