import django.contrib.postgres.constraints
import django.db.models.deletion
import django.db.models.expressions
import django.db.models.functions.comparison
import django.db.models.functions.datetime
import plates.stock.models
import shop.rows
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    initial = True

    dependencies = [
        ('shop', '0001_initial'),
        ('shop', '__first__'),
    ]

    operations = [
        # Ranges of one value: equality inside an exclusion constraint without btree_gist, which not every server has.
        migrations.RunSQL(
            """
            CREATE TYPE uuid_span AS RANGE (subtype = uuid);
            CREATE TYPE text_span AS RANGE (subtype = text, collation = "C");
            """,
            "DROP TYPE text_span; DROP TYPE uuid_span;",
        ),
        migrations.CreateModel(
            name='Fit',
            fields=[
                ('id', models.UUIDField(default=shop.rows.uuid7, editable=False, primary_key=True, serialize=False)),
                ('code', models.TextField()),
                ('tooth_side', models.TextField(choices=[('external', 'teeth outside'), ('internal', 'teeth inside'), ('none', 'no teeth')])),
                ('teeth', models.PositiveIntegerField()),
                ('outer_nm', models.BigIntegerField()),
                ('inner_nm', models.BigIntegerField()),
                ('tooth_form', models.TextField(blank=True, default='')),
                ('index', models.TextField(blank=True, default='')),
                ('oil_holes', models.TextField(blank=True, default='')),
                ('shop', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.shop')),
            ],
            options={
                'ordering': ['code'],
                'abstract': False,
            },
        ),
        migrations.CreateModel(
            name='Bin',
            fields=[
                ('id', models.UUIDField(default=shop.rows.uuid7, editable=False, primary_key=True, serialize=False)),
                ('code', models.TextField()),
                ('role', models.TextField(choices=[('steel', 'steel'), ('friction', 'friction'), ('apply', 'apply plate'), ('pressure', 'pressure plate'), ('wave', 'wave plate'), ('snap_ring', 'snap ring'), ('spacer', 'spacer')])),
                ('from_nm', models.BigIntegerField()),
                ('to_nm', models.BigIntegerField()),
                ('shop', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.shop')),
                ('fit', models.ForeignKey(db_constraint=False, db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='bins', to='plates.fit')),
            ],
            options={
                'ordering': ['code'],
                'abstract': False,
            },
        ),
        migrations.CreateModel(
            name='HandOut',
            fields=[
                ('id', models.UUIDField(default=shop.rows.uuid7, editable=False, primary_key=True, serialize=False)),
                ('reason', models.TextField(choices=[('cash', 'sold for cash'), ('lent', 'lent'), ('own_use', 'own use'), ('warranty', 'warranty'), ('lost', 'lost')])),
                ('to', models.TextField(blank=True, default='')),
                ('due', models.DateField(null=True)),
                ('price', models.DecimalField(decimal_places=2, max_digits=12, null=True)),
                ('at', models.DateTimeField(db_default=django.db.models.functions.datetime.Now())),
                ('made_key', models.TextField(null=True)),
                ('person', models.ForeignKey(db_constraint=False, db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('shop', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.shop')),
            ],
            options={
                'ordering': ['at', 'id'],
                'abstract': False,
            },
        ),
        migrations.CreateModel(
            name='Job',
            fields=[
                ('id', models.UUIDField(default=shop.rows.uuid7, editable=False, primary_key=True, serialize=False)),
                ('number', models.BigIntegerField()),
                ('code', models.TextField()),
                ('opened_at', models.DateTimeField(db_default=django.db.models.functions.datetime.Now())),
                ('shop', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.shop')),
            ],
            options={
                'ordering': ['number'],
                'abstract': False,
            },
        ),
        migrations.CreateModel(
            name='Kind',
            fields=[
                ('id', models.UUIDField(default=shop.rows.uuid7, editable=False, primary_key=True, serialize=False)),
                ('code', models.TextField()),
                ('role', models.TextField(choices=[('steel', 'steel'), ('friction', 'friction'), ('apply', 'apply plate'), ('pressure', 'pressure plate'), ('wave', 'wave plate'), ('snap_ring', 'snap ring'), ('spacer', 'spacer')])),
                ('lined_faces', models.PositiveSmallIntegerField()),
                ('nominal_nm', models.BigIntegerField()),
                ('tolerance_nm', models.BigIntegerField(null=True)),
                ('reuse_minimum_nm', models.BigIntegerField(null=True)),
                ('material', models.TextField(blank=True, default='')),
                ('facing', models.TextField(blank=True, default='')),
                ('groove', models.TextField(blank=True, default='')),
                ('made_coned_nm', models.BigIntegerField(null=True)),
                ('set_of', models.TextField(blank=True, default='')),
                ('mark', models.TextField(blank=True, default='')),
                ('unit_cost', models.DecimalField(decimal_places=4, max_digits=12, null=True)),
                ('pack_size', models.PositiveIntegerField(default=1)),
                ('lead_days', models.PositiveIntegerField(null=True)),
                ('fit', models.ForeignKey(db_constraint=False, db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='kinds', to='plates.fit')),
                ('shop', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.shop')),
            ],
            options={
                'ordering': ['code'],
                'abstract': False,
            },
        ),
        migrations.CreateModel(
            name='Lot',
            fields=[
                ('id', models.UUIDField(default=shop.rows.uuid7, editable=False, primary_key=True, serialize=False)),
                ('count', models.PositiveIntegerField()),
                ('measured', models.PositiveIntegerField()),
                ('mean_nm', models.BigIntegerField()),
                ('spread_nm', models.BigIntegerField()),
                ('source', models.TextField(blank=True, default='')),
                ('received_at', models.DateTimeField(db_default=django.db.models.functions.datetime.Now())),
                ('made_key', models.TextField(null=True)),
                ('kind', models.ForeignKey(db_constraint=False, db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='plates.kind')),
                ('received_by', models.ForeignKey(db_constraint=False, db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('shop', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.shop')),
            ],
            options={
                'ordering': ['received_at', 'id'],
                'abstract': False,
            },
        ),
        migrations.CreateModel(
            name='Match',
            fields=[
                ('id', models.UUIDField(default=shop.rows.uuid7, editable=False, primary_key=True, serialize=False)),
                ('number', models.BigIntegerField()),
                ('state', models.TextField(choices=[('open', 'open'), ('held', 'held'), ('taken', 'taken'), ('closed', 'closed')], default='open')),
                ('asked_at', models.DateTimeField(db_default=django.db.models.functions.datetime.Now())),
                ('method', models.TextField()),
                ('readings', models.JSONField()),
                ('as_read_nm', models.BigIntegerField()),
                ('clearance_nm', models.BigIntegerField()),
                ('u_nm', models.FloatField()),
                ('low_nm', models.BigIntegerField()),
                ('high_nm', models.BigIntegerField()),
                ('target_nm', models.BigIntegerField()),
                ('source', models.TextField()),
                ('reference', models.TextField(blank=True, default='')),
                ('unit', models.TextField(default='in')),
                ('faces', models.PositiveIntegerField()),
                ('verdict', models.TextField(choices=[('in_window', 'in the window'), ('high', 'high'), ('low', 'low')])),
                ('question', models.JSONField()),
                ('options', models.JSONField(default=list)),
                ('next_option', models.PositiveIntegerField(default=1)),
                ('shortfall', models.JSONField(null=True)),
                ('cautions', models.JSONField(default=list)),
                ('counted', models.BooleanField(default=False)),
                ('option_taken', models.PositiveIntegerField(null=True)),
                ('held_until', models.DateTimeField(null=True)),
                ('taken_at', models.DateTimeField(null=True)),
                ('slip', models.JSONField(default=list)),
                ('outs', models.JSONField(default=list)),
                ('finals', models.JSONField(default=list)),
                ('residual_nm', models.BigIntegerField(null=True)),
                ('closed_at', models.DateTimeField(null=True)),
                ('made_key', models.TextField(null=True)),
                ('job', models.ForeignKey(db_constraint=False, db_index=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='matches', to='plates.job')),
                ('person', models.ForeignKey(db_constraint=False, db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('shop', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.shop')),
                ('taken_by', models.ForeignKey(db_constraint=False, db_index=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'ordering': ['number'],
                'abstract': False,
            },
        ),
        migrations.CreateModel(
            name='Plate',
            fields=[
                ('id', models.UUIDField(default=shop.rows.uuid7, editable=False, primary_key=True, serialize=False)),
                ('role', models.TextField(choices=[('steel', 'steel'), ('friction', 'friction'), ('apply', 'apply plate'), ('pressure', 'pressure plate'), ('wave', 'wave plate'), ('snap_ring', 'snap ring'), ('spacer', 'spacer')])),
                ('thickness_nm', models.BigIntegerField()),
                ('spread_nm', models.BigIntegerField()),
                ('u_nm', models.FloatField(default=0.0)),
                ('state', models.TextField(choices=[('on_shelf', 'on the shelf'), ('held', 'held'), ('taken', 'taken'), ('handed_out', 'handed out'), ('quarantined', 'quarantined'), ('reworked', 'reworked'), ('scrapped', 'scrapped')])),
                ('revision', models.PositiveIntegerField()),
                ('condition', models.TextField(choices=[('new', 'new'), ('used', 'used')])),
                ('source', models.TextField(blank=True, default='')),
                ('owner', models.TextField(blank=True, default='')),
                ('box', models.TextField(blank=True, default='')),
                ('mark', models.TextField(blank=True, default='')),
                ('gauge', models.TextField(blank=True, default='')),
                ('held_until', models.DateTimeField(null=True)),
                ('received_at', models.DateTimeField(db_default=django.db.models.functions.datetime.Now())),
                ('made_key', models.TextField(null=True)),
                ('bin', models.ForeignKey(db_constraint=False, db_index=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='plates', to='plates.bin')),
                ('fit', models.ForeignKey(db_constraint=False, db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='plates.fit')),
                ('hand_out', models.ForeignKey(db_constraint=False, db_index=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='plates', to='plates.handout')),
                ('job', models.ForeignKey(db_constraint=False, db_index=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='plates', to='plates.job')),
                ('kind', models.ForeignKey(db_constraint=False, db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='plates', to='plates.kind')),
                ('lot', models.ForeignKey(db_constraint=False, db_index=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='plates', to='plates.lot')),
                ('match', models.ForeignKey(db_constraint=False, db_index=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='plates', to='plates.match')),
                ('reworked_from', models.ForeignKey(db_constraint=False, db_index=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='plates.plate')),
                ('shop', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.shop')),
            ],
            options={
                'ordering': ['id'],
                'abstract': False,
            },
        ),
        migrations.CreateModel(
            name='LedgerLine',
            fields=[
                ('id', models.UUIDField(default=shop.rows.uuid7, editable=False, primary_key=True, serialize=False)),
                ('seq', models.PositiveIntegerField()),
                ('delta', models.SmallIntegerField()),
                ('balance', models.SmallIntegerField()),
                ('prev_seq', models.GeneratedField(db_persist=True, expression=django.db.models.functions.comparison.NullIf(django.db.models.expressions.CombinedExpression(models.F('seq'), '-', models.Value(1)), models.Value(0)), output_field=models.IntegerField(null=True))),
                ('prev_balance', models.GeneratedField(db_persist=True, expression=django.db.models.expressions.CombinedExpression(models.F('balance'), '-', models.F('delta')), output_field=models.SmallIntegerField())),
                ('act', models.TextField(choices=[('received', 'received'), ('held', 'held'), ('released', 'hold released'), ('ran_out', 'hold ran out'), ('taken', 'taken'), ('put_back', 'put back'), ('handed_out', 'handed out'), ('reworked', 'reworked'), ('scrapped', 'scrapped'), ('undone', 'scan undone')])),
                ('state', models.TextField(choices=[('on_shelf', 'on the shelf'), ('held', 'held'), ('taken', 'taken'), ('handed_out', 'handed out'), ('quarantined', 'quarantined'), ('reworked', 'reworked'), ('scrapped', 'scrapped')])),
                ('thickness_nm', models.BigIntegerField()),
                ('spread_nm', models.BigIntegerField()),
                ('u_nm', models.FloatField()),
                ('held_until', models.DateTimeField(null=True)),
                ('readings', models.JSONField(default=list)),
                ('gauge', models.TextField(blank=True, default='')),
                ('reason', models.TextField(blank=True, default='')),
                ('at', models.DateTimeField(db_default=django.db.models.functions.datetime.Now())),
                ('bin', models.ForeignKey(db_constraint=False, db_index=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='plates.bin')),
                ('hand_out', models.ForeignKey(db_constraint=False, db_index=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='lines', to='plates.handout')),
                ('job', models.ForeignKey(db_constraint=False, db_index=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='lines', to='plates.job')),
                ('person', models.ForeignKey(db_constraint=False, db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('shop', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.shop')),
                ('match', models.ForeignKey(db_constraint=False, db_index=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='lines', to='plates.match')),
                ('plate', models.ForeignKey(db_constraint=False, db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='lines', to='plates.plate')),
            ],
            options={
                'ordering': ['at', 'id'],
                'abstract': False,
            },
        ),
        migrations.CreateModel(
            name='ScanCode',
            fields=[
                ('id', models.UUIDField(default=shop.rows.uuid7, editable=False, primary_key=True, serialize=False)),
                ('code', models.TextField()),
                ('kind', models.ForeignKey(db_constraint=False, db_index=False, on_delete=django.db.models.deletion.CASCADE, related_name='scan_codes', to='plates.kind')),
                ('shop', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.shop')),
            ],
            options={
                'abstract': False,
            },
        ),
        migrations.CreateModel(
            name='Slot',
            fields=[
                ('id', models.UUIDField(default=shop.rows.uuid7, editable=False, primary_key=True, serialize=False)),
                ('position', models.PositiveSmallIntegerField()),
                ('name', models.TextField()),
                ('role', models.TextField(choices=[('steel', 'steel'), ('friction', 'friction'), ('apply', 'apply plate'), ('pressure', 'pressure plate'), ('wave', 'wave plate'), ('snap_ring', 'snap ring'), ('spacer', 'spacer')])),
                ('count', models.PositiveSmallIntegerField()),
                ('lined_faces', models.PositiveSmallIntegerField()),
                ('material', models.TextField(blank=True, default='')),
                ('facing', models.TextField(blank=True, default='')),
                ('swap', models.BooleanField(default=False)),
                ('extra', models.PositiveSmallIntegerField(default=0)),
                ('nominal_nm', models.BigIntegerField(null=True)),
                ('place', models.TextField(blank=True, default='')),
                ('fit', models.ForeignKey(db_constraint=False, db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='plates.fit')),
                ('shop', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.shop')),
            ],
            options={
                'ordering': ['position'],
                'abstract': False,
            },
        ),
        migrations.CreateModel(
            name='SlotFit',
            fields=[
                ('id', models.UUIDField(default=shop.rows.uuid7, editable=False, primary_key=True, serialize=False)),
                ('fit', models.ForeignKey(db_constraint=False, db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='plates.fit')),
                ('shop', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.shop')),
                ('slot', models.ForeignKey(db_constraint=False, db_index=False, on_delete=django.db.models.deletion.CASCADE, related_name='further_fits', to='plates.slot')),
            ],
            options={
                'abstract': False,
            },
        ),
        migrations.CreateModel(
            name='Spec',
            fields=[
                ('id', models.UUIDField(default=shop.rows.uuid7, editable=False, primary_key=True, serialize=False)),
                ('code', models.TextField()),
                ('title', models.TextField()),
                ('measures', models.TextField(choices=[('gap', 'clearance'), ('height', 'stack height')])),
                ('source', models.TextField(choices=[('rule', 'rule of the trade'), ('manual', 'manual')])),
                ('low_nm', models.BigIntegerField()),
                ('high_nm', models.BigIntegerField()),
                ('target_nm', models.BigIntegerField()),
                ('limit_low_nm', models.BigIntegerField(null=True)),
                ('limit_high_nm', models.BigIntegerField(null=True)),
                ('reference', models.TextField(blank=True, default='')),
                ('unit', models.TextField(choices=[('in', 'inch'), ('mm', 'millimetre')], default='in')),
                ('wave_free_nm', models.BigIntegerField(null=True)),
                ('wave_flat_nm', models.BigIntegerField(null=True)),
                ('reads_wave', models.TextField(blank=True, choices=[('free', 'free'), ('flat', 'flat')], default='')),
                ('adjustable', models.BooleanField(default=True)),
                ('set_only', models.BooleanField(default=False)),
                ('shop', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.shop')),
            ],
            options={
                'verbose_name': 'pack spec',
                'ordering': ['code'],
                'abstract': False,
            },
        ),
        migrations.CreateModel(
            name='Supplier',
            fields=[
                ('id', models.UUIDField(default=shop.rows.uuid7, editable=False, primary_key=True, serialize=False)),
                ('name', models.TextField()),
                ('shop', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.shop')),
            ],
            options={
                'abstract': False,
            },
        ),
        migrations.AddField(
            model_name='slot',
            name='spec',
            field=models.ForeignKey(db_constraint=False, db_index=False, on_delete=django.db.models.deletion.CASCADE, related_name='slots', to='plates.spec'),
        ),
        migrations.AddField(
            model_name='match',
            name='spec',
            field=models.ForeignKey(db_constraint=False, db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='matches', to='plates.spec'),
        ),
        migrations.AddField(
            model_name='kind',
            name='supplier',
            field=models.ForeignKey(db_constraint=False, db_index=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='kinds', to='plates.supplier'),
        ),
        migrations.AddConstraint(
            model_name='fit',
            constraint=models.UniqueConstraint(fields=('shop', 'id'), name='fit_shop_id'),
        ),
        migrations.AddConstraint(
            model_name='fit',
            constraint=models.UniqueConstraint(fields=('shop', 'code'), name='fit_code'),
        ),
        migrations.AddConstraint(
            model_name='bin',
            constraint=models.UniqueConstraint(fields=('shop', 'id'), name='bin_shop_id'),
        ),
        migrations.AddConstraint(
            model_name='bin',
            constraint=models.UniqueConstraint(fields=('shop', 'code'), name='bin_code'),
        ),
        migrations.AddConstraint(
            model_name='handout',
            constraint=models.UniqueConstraint(fields=('shop', 'id'), name='handout_shop_id'),
        ),
        migrations.AddConstraint(
            model_name='handout',
            constraint=models.UniqueConstraint(fields=('shop', 'made_key'), name='handout_made_key'),
        ),
        migrations.AddConstraint(
            model_name='job',
            constraint=models.UniqueConstraint(fields=('shop', 'id'), name='job_shop_id'),
        ),
        migrations.AddConstraint(
            model_name='job',
            constraint=models.UniqueConstraint(fields=('shop', 'code'), name='job_code'),
        ),
        migrations.AddConstraint(
            model_name='job',
            constraint=models.UniqueConstraint(fields=('shop', 'number'), name='job_number'),
        ),
        migrations.AddConstraint(
            model_name='lot',
            constraint=models.UniqueConstraint(fields=('shop', 'id'), name='lot_shop_id'),
        ),
        migrations.AddConstraint(
            model_name='lot',
            constraint=models.UniqueConstraint(fields=('shop', 'made_key'), name='lot_made_key'),
        ),
        migrations.AddConstraint(
            model_name='plate',
            constraint=models.UniqueConstraint(fields=('shop', 'id'), name='plate_shop_id'),
        ),
        migrations.AddConstraint(
            model_name='plate',
            constraint=models.UniqueConstraint(fields=('shop', 'made_key'), name='plate_made_key'),
        ),
        migrations.AddConstraint(
            model_name='ledgerline',
            constraint=models.UniqueConstraint(fields=('shop', 'id'), name='ledgerline_shop_id'),
        ),
        migrations.AddConstraint(
            model_name='ledgerline',
            constraint=models.UniqueConstraint(fields=('shop', 'plate', 'seq'), name='ledger_seq'),
        ),
        migrations.AddConstraint(
            model_name='ledgerline',
            constraint=models.UniqueConstraint(fields=('shop', 'plate', 'seq', 'balance'), name='ledger_chain_end'),
        ),
        migrations.AddConstraint(
            model_name='scancode',
            constraint=models.UniqueConstraint(fields=('shop', 'id'), name='scancode_shop_id'),
        ),
        migrations.AddConstraint(
            model_name='scancode',
            constraint=models.UniqueConstraint(fields=('shop', 'code'), name='scancode_code'),
        ),
        migrations.AddConstraint(
            model_name='slotfit',
            constraint=models.UniqueConstraint(fields=('shop', 'id'), name='slotfit_shop_id'),
        ),
        migrations.AddConstraint(
            model_name='slotfit',
            constraint=models.UniqueConstraint(fields=('shop', 'slot', 'fit'), name='slotfit_once'),
        ),
        migrations.AddConstraint(
            model_name='spec',
            constraint=models.UniqueConstraint(fields=('shop', 'id'), name='spec_shop_id'),
        ),
        migrations.AddConstraint(
            model_name='spec',
            constraint=models.UniqueConstraint(fields=('shop', 'code'), name='spec_code'),
        ),
        migrations.AddConstraint(
            model_name='slot',
            constraint=models.UniqueConstraint(fields=('shop', 'id'), name='slot_shop_id'),
        ),
        migrations.AddConstraint(
            model_name='slot',
            constraint=models.UniqueConstraint(fields=('shop', 'spec', 'position'), name='slot_position'),
        ),
        migrations.AddConstraint(
            model_name='slot',
            constraint=models.UniqueConstraint(fields=('shop', 'spec', 'name'), name='slot_name'),
        ),
        migrations.AddConstraint(
            model_name='match',
            constraint=models.UniqueConstraint(fields=('shop', 'id'), name='match_shop_id'),
        ),
        migrations.AddConstraint(
            model_name='match',
            constraint=models.UniqueConstraint(fields=('shop', 'number'), name='match_number'),
        ),
        migrations.AddConstraint(
            model_name='match',
            constraint=models.UniqueConstraint(fields=('shop', 'made_key'), name='match_made_key'),
        ),
        migrations.AddConstraint(
            model_name='supplier',
            constraint=models.UniqueConstraint(fields=('shop', 'id'), name='supplier_shop_id'),
        ),
        migrations.AddConstraint(
            model_name='supplier',
            constraint=models.UniqueConstraint(fields=('shop', 'name'), name='supplier_name'),
        ),
        migrations.AddConstraint(
            model_name='kind',
            constraint=models.UniqueConstraint(fields=('shop', 'id'), name='kind_shop_id'),
        ),
        migrations.AddConstraint(
            model_name='kind',
            constraint=models.UniqueConstraint(fields=('shop', 'code'), name='kind_code'),
        ),
        migrations.AddConstraint(
            model_name='fit',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('teeth', 0), ('tooth_side', 'none')), models.Q(models.Q(('tooth_side', 'none'), _negated=True), ('teeth__gt', 0)), _connector='OR'), name='fit_teeth'),
        ),
        migrations.AddConstraint(
            model_name='fit',
            constraint=models.CheckConstraint(condition=models.Q(('inner_nm__gt', 0), ('outer_nm__gt', models.F('inner_nm'))), name='fit_diameters'),
        ),
        migrations.AddConstraint(
            model_name='bin',
            constraint=models.CheckConstraint(condition=models.Q(('from_nm__gte', 0), ('from_nm__lt', models.F('to_nm'))), name='bin_span'),
        ),
        migrations.AddConstraint(
            model_name='bin',
            constraint=django.contrib.postgres.constraints.ExclusionConstraint(expressions=[(plates.stock.models.Span(models.F('shop'), function='uuid_span', output_field=models.TextField()), '&&'), (plates.stock.models.Span(models.F('fit'), function='uuid_span', output_field=models.TextField()), '&&'), (plates.stock.models.Span(models.F('role'), function='text_span', output_field=models.TextField()), '&&'), (models.Func(models.F('from_nm'), models.F('to_nm'), function='int8range', output_field=models.TextField()), '&&')], name='bin_overlap'),
        ),
        migrations.AddConstraint(
            model_name='lot',
            constraint=models.CheckConstraint(condition=models.Q(('measured__gte', 1), ('measured__lte', models.F('count'))), name='lot_measured'),
        ),
        migrations.AddConstraint(
            model_name='plate',
            constraint=models.CheckConstraint(condition=models.Q(('spread_nm__gte', 0), ('thickness_nm__gt', 0)), name='plate_lengths'),
        ),
        migrations.AddConstraint(
            model_name='plate',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('held_until__isnull', False), ('match__isnull', False), ('state', 'held')), models.Q(models.Q(('state', 'held'), _negated=True), ('held_until', None)), _connector='OR'), name='plate_held_until'),
        ),
        migrations.AddConstraint(
            model_name='ledgerline',
            constraint=models.CheckConstraint(condition=models.Q(('delta__in', [-1, 0, 1])), name='ledger_delta'),
        ),
        migrations.AddConstraint(
            model_name='ledgerline',
            constraint=models.CheckConstraint(condition=models.Q(('balance__in', [0, 1])), name='ledger_balance'),
        ),
        migrations.AddConstraint(
            model_name='ledgerline',
            constraint=models.CheckConstraint(condition=models.Q(('balance__gte', models.F('delta')), ('balance__lte', django.db.models.expressions.CombinedExpression(models.F('delta'), '+', models.Value(1)))), name='ledger_before'),
        ),
        migrations.AddConstraint(
            model_name='ledgerline',
            constraint=models.CheckConstraint(condition=models.Q(('seq__gt', 1), models.Q(('balance', models.F('delta')), ('seq', 1)), _connector='OR'), name='ledger_first'),
        ),
        migrations.AddConstraint(
            model_name='ledgerline',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('balance', 1), ('state__in', ('on_shelf', 'held'))), models.Q(('balance', 0), models.Q(('state__in', ('on_shelf', 'held')), _negated=True)), _connector='OR'), name='ledger_state'),
        ),
        migrations.AddConstraint(
            model_name='spec',
            constraint=models.CheckConstraint(condition=models.Q(('low_nm__gte', 0), ('low_nm__lt', models.F('high_nm'))), name='spec_window'),
        ),
        migrations.AddConstraint(
            model_name='spec',
            constraint=models.CheckConstraint(condition=models.Q(('target_nm__gte', models.F('low_nm')), ('target_nm__lte', models.F('high_nm'))), name='spec_target'),
        ),
        migrations.AddConstraint(
            model_name='spec',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('limit_low_nm', None), ('limit_low_nm__lte', models.F('low_nm')), _connector='OR'), models.Q(('limit_high_nm', None), ('limit_high_nm__gte', models.F('high_nm')), _connector='OR')), name='spec_limits'),
        ),
        migrations.AddConstraint(
            model_name='spec',
            constraint=models.CheckConstraint(condition=models.Q(('measures', 'height'), ('source', 'rule'), _negated=True), name='spec_rule_gap'),
        ),
        migrations.AddConstraint(
            model_name='spec',
            constraint=models.CheckConstraint(condition=models.Q(('source', 'rule'), models.Q(('reference', ''), _negated=True), _connector='OR'), name='spec_reference'),
        ),
        migrations.AddConstraint(
            model_name='spec',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('wave_flat_nm', None), ('wave_free_nm', None)), models.Q(('wave_flat_nm__gt', 0), ('wave_free_nm__gt', models.F('wave_flat_nm'))), _connector='OR'), name='spec_wave'),
        ),
        migrations.AddConstraint(
            model_name='slot',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('lined_faces__in', [1, 2]), ('role', 'friction')), models.Q(models.Q(('role', 'friction'), _negated=True), ('lined_faces', 0)), _connector='OR'), name='slot_lined_faces'),
        ),
        migrations.AddConstraint(
            model_name='slot',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(models.Q(('role', 'wave'), _negated=True), models.Q(('extra', 0), ('swap', False)), _connector='OR'), models.Q(models.Q(('role', 'friction'), _negated=True), ('extra', 0), _connector='OR')), name='slot_hard_rules'),
        ),
        migrations.AddConstraint(
            model_name='slot',
            constraint=models.CheckConstraint(condition=models.Q(('nominal_nm', None), ('nominal_nm__gt', 0), _connector='OR'), name='slot_nominal'),
        ),
        migrations.AddConstraint(
            model_name='match',
            constraint=models.CheckConstraint(condition=models.Q(('low_nm__lt', models.F('high_nm')), ('target_nm__gte', models.F('low_nm')), ('target_nm__lte', models.F('high_nm'))), name='match_window'),
        ),
        migrations.AddConstraint(
            model_name='match',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('held_until__isnull', False), ('state', 'held')), models.Q(models.Q(('state', 'held'), _negated=True), ('held_until', None)), _connector='OR'), name='match_held_until'),
        ),
        migrations.AddConstraint(
            model_name='kind',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('lined_faces__in', [1, 2]), ('role', 'friction')), models.Q(models.Q(('role', 'friction'), _negated=True), ('lined_faces', 0)), _connector='OR'), name='kind_lined_faces'),
        ),
        migrations.AddConstraint(
            model_name='kind',
            constraint=models.CheckConstraint(condition=models.Q(('nominal_nm__gt', 0), models.Q(('tolerance_nm', None), ('tolerance_nm__gt', 0), _connector='OR'), models.Q(('reuse_minimum_nm', None), models.Q(('reuse_minimum_nm__gt', 0), ('reuse_minimum_nm__lte', models.F('nominal_nm'))), _connector='OR')), name='kind_lengths'),
        ),
        migrations.AddConstraint(
            model_name='kind',
            constraint=models.CheckConstraint(condition=models.Q(('pack_size__gt', 0)), name='kind_pack_size'),
        ),
        migrations.AddConstraint(
            model_name='bin',
            constraint=shop.rows.SameShop(field='fit', name='bin_fit'),
        ),
        migrations.AddConstraint(
            model_name='handout',
            constraint=shop.rows.SameShop(field='person', name='handout_person'),
        ),
        migrations.AddConstraint(
            model_name='lot',
            constraint=shop.rows.SameShop(field='kind', name='lot_kind'),
        ),
        migrations.AddConstraint(
            model_name='lot',
            constraint=shop.rows.SameShop(field='received_by', name='lot_received_by'),
        ),
        migrations.AddConstraint(
            model_name='plate',
            constraint=shop.rows.SameShop(field='kind', name='plate_kind'),
        ),
        migrations.AddConstraint(
            model_name='plate',
            constraint=shop.rows.SameShop(field='fit', name='plate_fit'),
        ),
        migrations.AddConstraint(
            model_name='plate',
            constraint=shop.rows.SameShop(field='lot', name='plate_lot'),
        ),
        migrations.AddConstraint(
            model_name='plate',
            constraint=shop.rows.SameShop(field='bin', name='plate_bin'),
        ),
        migrations.AddConstraint(
            model_name='plate',
            constraint=shop.rows.SameShop(field='match', name='plate_match'),
        ),
        migrations.AddConstraint(
            model_name='plate',
            constraint=shop.rows.SameShop(field='job', name='plate_job'),
        ),
        migrations.AddConstraint(
            model_name='plate',
            constraint=shop.rows.SameShop(field='hand_out', name='plate_hand_out'),
        ),
        migrations.AddConstraint(
            model_name='plate',
            constraint=shop.rows.SameShop(field='reworked_from', name='plate_reworked_from'),
        ),
        migrations.AddConstraint(
            model_name='ledgerline',
            constraint=shop.rows.SameShop(field='plate', name='ledger_plate'),
        ),
        migrations.AddConstraint(
            model_name='ledgerline',
            constraint=shop.rows.SameShop(field='bin', name='ledger_bin'),
        ),
        migrations.AddConstraint(
            model_name='ledgerline',
            constraint=shop.rows.SameShop(field='match', name='ledger_match'),
        ),
        migrations.AddConstraint(
            model_name='ledgerline',
            constraint=shop.rows.SameShop(field='job', name='ledger_job'),
        ),
        migrations.AddConstraint(
            model_name='ledgerline',
            constraint=shop.rows.SameShop(field='hand_out', name='ledger_hand_out'),
        ),
        migrations.AddConstraint(
            model_name='ledgerline',
            constraint=shop.rows.SameShop(field='person', name='ledger_person'),
        ),
        migrations.AddConstraint(
            model_name='scancode',
            constraint=shop.rows.SameShop(field='kind', name='scancode_kind'),
        ),
        migrations.AddConstraint(
            model_name='slotfit',
            constraint=shop.rows.SameShop(field='slot', name='slotfit_slot'),
        ),
        migrations.AddConstraint(
            model_name='slotfit',
            constraint=shop.rows.SameShop(field='fit', name='slotfit_fit'),
        ),
        migrations.AddConstraint(
            model_name='slot',
            constraint=shop.rows.SameShop(field='spec', name='slot_spec'),
        ),
        migrations.AddConstraint(
            model_name='slot',
            constraint=shop.rows.SameShop(field='fit', name='slot_fit'),
        ),
        migrations.AddConstraint(
            model_name='match',
            constraint=shop.rows.SameShop(field='job', name='match_job'),
        ),
        migrations.AddConstraint(
            model_name='match',
            constraint=shop.rows.SameShop(field='spec', name='match_spec'),
        ),
        migrations.AddConstraint(
            model_name='match',
            constraint=shop.rows.SameShop(field='person', name='match_person'),
        ),
        migrations.AddConstraint(
            model_name='match',
            constraint=shop.rows.SameShop(field='taken_by', name='match_taken_by'),
        ),
        migrations.AddConstraint(
            model_name='kind',
            constraint=shop.rows.SameShop(field='fit', name='kind_fit'),
        ),
        migrations.AddConstraint(
            model_name='kind',
            constraint=shop.rows.SameShop(field='supplier', name='kind_supplier'),
        ),
        migrations.AddIndex(
            model_name='plate',
            index=models.Index(condition=models.Q(('state', 'on_shelf')), fields=['shop', 'fit', 'role', 'thickness_nm'], include=('id',), name='plate_shelf'),
        ),
        migrations.AddIndex(
            model_name='plate',
            index=models.Index(condition=models.Q(('state', 'held')), fields=['shop', 'held_until'], name='plate_holds'),
        ),
        migrations.AddIndex(
            model_name='plate',
            index=models.Index(fields=['shop', 'bin'], name='plate_of_bin'),
        ),
        migrations.AddIndex(
            model_name='plate',
            index=models.Index(condition=models.Q(('match__isnull', False)), fields=['shop', 'match'], name='plate_of_match'),
        ),
        migrations.AddIndex(
            model_name='ledgerline',
            index=models.Index(fields=['shop', 'at', 'id'], name='ledger_in_time'),
        ),
        migrations.AddIndex(
            model_name='ledgerline',
            index=models.Index(condition=models.Q(('match__isnull', False)), fields=['shop', 'match'], name='ledger_of_match'),
        ),
        migrations.AddIndex(
            model_name='ledgerline',
            index=models.Index(condition=models.Q(('job__isnull', False)), fields=['shop', 'job'], name='ledger_of_job'),
        ),
        migrations.AddIndex(
            model_name='scancode',
            index=models.Index(fields=['shop', 'kind'], name='scancode_of_kind'),
        ),
        migrations.AddIndex(
            model_name='match',
            index=models.Index(fields=['shop', 'state'], name='match_of_state'),
        ),
        migrations.AddIndex(
            model_name='match',
            index=models.Index(condition=models.Q(('job__isnull', False)), fields=['shop', 'job'], name='match_of_job'),
        ),
        migrations.AddIndex(
            model_name='kind',
            index=models.Index(fields=['shop', 'fit', 'role', 'nominal_nm'], name='kind_sizes'),
        ),
    ]
