import django.db.models.deletion
import django.db.models.functions.datetime
import shop.rows
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    initial = True

    dependencies = [
    ]

    operations = [
        migrations.CreateModel(
            name='Shop',
            fields=[
                ('id', models.UUIDField(default=shop.rows.uuid7, editable=False, primary_key=True, serialize=False)),
                ('name', models.TextField()),
                ('unit_first', models.TextField(choices=[('in', 'inch'), ('mm', 'millimetre')], default='in')),
                ('sure_level', models.FloatField(default=0.95)),
                ('hold_minutes', models.PositiveIntegerField(default=240)),
                ('is_demo', models.BooleanField(default=False)),
                ('demo_ready', models.BooleanField(default=False)),
            ],
        ),
        migrations.CreateModel(
            name='Person',
            fields=[
                ('password', models.CharField(max_length=128, verbose_name='password')),
                ('last_login', models.DateTimeField(blank=True, null=True, verbose_name='last login')),
                ('id', models.UUIDField(default=shop.rows.uuid7, editable=False, primary_key=True, serialize=False)),
                ('username', models.TextField(unique=True)),
                ('role', models.TextField(choices=[('bench', 'bench'), ('counter', 'counter'), ('buyer', 'buyer'), ('owner', 'owner')])),
                ('is_active', models.BooleanField(default=True)),
                ('shop', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='people', to='shop.shop')),
            ],
        ),
        migrations.CreateModel(
            name='Token',
            fields=[
                ('id', models.UUIDField(default=shop.rows.uuid7, editable=False, primary_key=True, serialize=False)),
                ('sha256', models.CharField(max_length=64, unique=True)),
                ('made_at', models.DateTimeField(auto_now_add=True)),
                ('person', models.ForeignKey(db_constraint=False, db_index=False, on_delete=django.db.models.deletion.CASCADE, related_name='tokens', to=settings.AUTH_USER_MODEL)),
                ('shop', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.shop')),
            ],
            options={
                'abstract': False,
            },
        ),
        migrations.CreateModel(
            name='RequestKey',
            fields=[
                ('id', models.UUIDField(default=shop.rows.uuid7, editable=False, primary_key=True, serialize=False)),
                ('key', models.TextField()),
                ('fingerprint', models.CharField(max_length=64)),
                ('status', models.PositiveSmallIntegerField(null=True)),
                ('answer', models.JSONField(null=True)),
                ('made_at', models.DateTimeField(db_default=django.db.models.functions.datetime.Now())),
                ('person', models.ForeignKey(db_constraint=False, db_index=False, on_delete=django.db.models.deletion.CASCADE, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('shop', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.shop')),
            ],
            options={
                'abstract': False,
                'indexes': [models.Index(fields=['shop', 'made_at'], name='requestkey_made_at')],
            },
        ),
        migrations.CreateModel(
            name='Counter',
            fields=[
                ('id', models.UUIDField(default=shop.rows.uuid7, editable=False, primary_key=True, serialize=False)),
                ('name', models.TextField()),
                ('value', models.BigIntegerField()),
                ('shop', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.shop')),
            ],
            options={
                'abstract': False,
            },
        ),
        migrations.AddConstraint(
            model_name='person',
            constraint=models.UniqueConstraint(fields=('shop', 'id'), name='person_shop_id'),
        ),
        migrations.AddConstraint(
            model_name='token',
            constraint=models.UniqueConstraint(fields=('shop', 'id'), name='token_shop_id'),
        ),
        migrations.AddConstraint(
            model_name='requestkey',
            constraint=models.UniqueConstraint(fields=('shop', 'id'), name='requestkey_shop_id'),
        ),
        migrations.AddConstraint(
            model_name='requestkey',
            constraint=models.UniqueConstraint(fields=('shop', 'person', 'key'), name='requestkey_once'),
        ),
        migrations.AddConstraint(
            model_name='counter',
            constraint=models.UniqueConstraint(fields=('shop', 'id'), name='counter_shop_id'),
        ),
        migrations.AddConstraint(
            model_name='counter',
            constraint=models.UniqueConstraint(fields=('shop', 'name'), name='counter_once'),
        ),
        migrations.AddConstraint(
            model_name='person',
            constraint=models.CheckConstraint(condition=models.Q(('role__in', ['bench', 'counter', 'buyer', 'owner'])), name='person_role'),
        ),
        migrations.AddConstraint(
            model_name='token',
            constraint=shop.rows.SameShop(field='person', name='token_person'),
        ),
        migrations.AddConstraint(
            model_name='requestkey',
            constraint=shop.rows.SameShop(field='person', name='requestkey_person'),
        ),
    ]
