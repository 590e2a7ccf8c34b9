import django.db.models.deletion
import django.db.models.functions.text
import django.utils.timezone
import inventory.common.fields
import simple_history.models
from django.db import migrations, models
from inventory.common.tables import Tables


class Migration(migrations.Migration):

    initial = True

    replaces = [("buildplan", name) for name in ("0001_initial", "0002_rows_and_seams", "0003_sealing_supplies", "0004_settings_and_substitutions")]

    dependencies = [("inventory", "0001_first_tables")]

    operations = [Tables([
        migrations.CreateModel(
            name='CallOut',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('quantity', inventory.common.fields.QuantityField()),
                ('rounding', models.CharField(blank=True, max_length=200)),
            ],
        ),
        migrations.CreateModel(
            name='ClecoSpacing',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('stage', models.CharField(choices=[('fit_up', 'first fit-up'), ('match_drill', 'match drilling'), ('final', 'final fit, and curves'), ('curing', 'while sealant cures')], max_length=11)),
                ('every', models.PositiveSmallIntegerField(verbose_name='a cleco in every n-th hole')),
            ],
        ),
        migrations.CreateModel(
            name='Finish',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('on', models.DateField()),
                ('at', models.DateTimeField(default=django.utils.timezone.now)),
                ('without_movements', models.BooleanField(default=False)),
                ('note', models.CharField(blank=True, max_length=200)),
                ('taken_back_at', models.DateTimeField(blank=True, null=True)),
            ],
        ),
        migrations.CreateModel(
            name='HistoricalCallOut',
            fields=[
                ('id', models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name='ID')),
                ('quantity', inventory.common.fields.QuantityField()),
                ('rounding', models.CharField(blank=True, max_length=200)),
                ('history_id', models.AutoField(primary_key=True, serialize=False)),
                ('history_date', models.DateTimeField(db_index=True)),
                ('history_change_reason', models.CharField(max_length=100, null=True)),
                ('history_type', models.CharField(choices=[('+', 'Created'), ('~', 'Changed'), ('-', 'Deleted')], max_length=1)),
            ],
            options={
                'verbose_name': 'historical call out',
                'verbose_name_plural': 'historical call outs',
                'ordering': ('-history_date', '-history_id'),
                'get_latest_by': ('history_date', 'history_id'),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name='HistoricalClecoSpacing',
            fields=[
                ('id', models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name='ID')),
                ('stage', models.CharField(choices=[('fit_up', 'first fit-up'), ('match_drill', 'match drilling'), ('final', 'final fit, and curves'), ('curing', 'while sealant cures')], max_length=11)),
                ('every', models.PositiveSmallIntegerField(verbose_name='a cleco in every n-th hole')),
                ('history_id', models.AutoField(primary_key=True, serialize=False)),
                ('history_date', models.DateTimeField(db_index=True)),
                ('history_change_reason', models.CharField(max_length=100, null=True)),
                ('history_type', models.CharField(choices=[('+', 'Created'), ('~', 'Changed'), ('-', 'Deleted')], max_length=1)),
            ],
            options={
                'verbose_name': 'historical cleco spacing',
                'verbose_name_plural': 'historical cleco spacings',
                'ordering': ('-history_date', '-history_id'),
                'get_latest_by': ('history_date', 'history_id'),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name='HistoricalProject',
            fields=[
                ('id', models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name='ID')),
                ('code', models.CharField(max_length=40)),
                ('name', models.CharField(max_length=120)),
                ('history_id', models.AutoField(primary_key=True, serialize=False)),
                ('history_date', models.DateTimeField(db_index=True)),
                ('history_change_reason', models.CharField(max_length=100, null=True)),
                ('history_type', models.CharField(choices=[('+', 'Created'), ('~', 'Changed'), ('-', 'Deleted')], max_length=1)),
            ],
            options={
                'verbose_name': 'historical project',
                'verbose_name_plural': 'historical projects',
                'ordering': ('-history_date', '-history_id'),
                'get_latest_by': ('history_date', 'history_id'),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name='HistoricalRivetLoss',
            fields=[
                ('id', models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name='ID')),
                ('diameter', inventory.common.fields.FractionField(max_length=31, verbose_name='diameter in inches')),
                ('percent', models.DecimalField(decimal_places=2, max_digits=5)),
                ('history_id', models.AutoField(primary_key=True, serialize=False)),
                ('history_date', models.DateTimeField(db_index=True)),
                ('history_change_reason', models.CharField(max_length=100, null=True)),
                ('history_type', models.CharField(choices=[('+', 'Created'), ('~', 'Changed'), ('-', 'Deleted')], max_length=1)),
            ],
            options={
                'verbose_name': 'historical rivet loss',
                'verbose_name_plural': 'historical rivet losss',
                'ordering': ('-history_date', '-history_id'),
                'get_latest_by': ('history_date', 'history_id'),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name='HistoricalRivetRow',
            fields=[
                ('id', models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name='ID')),
                ('code', models.CharField(max_length=40)),
                ('position', models.PositiveIntegerField(default=0)),
                ('holes', models.PositiveIntegerField()),
                ('grip', inventory.common.fields.FractionField(blank=True, max_length=31, null=True, verbose_name='grip in inches')),
                ('cleco_every', models.PositiveIntegerField(blank=True, null=True, verbose_name='a cleco in every n-th hole')),
                ('history_id', models.AutoField(primary_key=True, serialize=False)),
                ('history_date', models.DateTimeField(db_index=True)),
                ('history_change_reason', models.CharField(max_length=100, null=True)),
                ('history_type', models.CharField(choices=[('+', 'Created'), ('~', 'Changed'), ('-', 'Deleted')], max_length=1)),
            ],
            options={
                'verbose_name': 'historical rivet row',
                'verbose_name_plural': 'historical rivet rows',
                'ordering': ('-history_date', '-history_id'),
                'get_latest_by': ('history_date', 'history_id'),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name='HistoricalSealingSupply',
            fields=[
                ('id', models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name='ID')),
                ('name', models.CharField(max_length=80)),
                ('quantity', inventory.common.fields.QuantityField(verbose_name='quantity for a batch')),
                ('unit', models.CharField(max_length=40)),
                ('history_id', models.AutoField(primary_key=True, serialize=False)),
                ('history_date', models.DateTimeField(db_index=True)),
                ('history_change_reason', models.CharField(max_length=100, null=True)),
                ('history_type', models.CharField(choices=[('+', 'Created'), ('~', 'Changed'), ('-', 'Deleted')], max_length=1)),
            ],
            options={
                'verbose_name': 'historical sealing supply',
                'verbose_name_plural': 'historical sealing supplys',
                'ordering': ('-history_date', '-history_id'),
                'get_latest_by': ('history_date', 'history_id'),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name='HistoricalSeam',
            fields=[
                ('id', models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name='ID')),
                ('code', models.CharField(max_length=40)),
                ('position', models.PositiveIntegerField(default=0)),
                ('shape', models.CharField(choices=[('concave', 'concave'), ('triangle', 'triangle'), ('quarter_round', 'quarter_round'), ('film', 'film'), ('dome', 'dome'), ('each', 'each')], max_length=13)),
                ('length', inventory.common.fields.FractionField(blank=True, max_length=31, null=True)),
                ('unit', models.CharField(blank=True, max_length=40)),
                ('leg_a', inventory.common.fields.FractionField(blank=True, max_length=31, null=True)),
                ('leg_b', inventory.common.fields.FractionField(blank=True, max_length=31, null=True)),
                ('thickness', inventory.common.fields.FractionField(blank=True, max_length=31, null=True)),
                ('size_unit', models.CharField(blank=True, max_length=40)),
                ('count', models.PositiveIntegerField(default=1)),
                ('grams_each', inventory.common.fields.FractionField(blank=True, max_length=31, null=True)),
                ('loss_percent', inventory.common.fields.FractionField(default='0', max_length=31)),
                ('history_id', models.AutoField(primary_key=True, serialize=False)),
                ('history_date', models.DateTimeField(db_index=True)),
                ('history_change_reason', models.CharField(max_length=100, null=True)),
                ('history_type', models.CharField(choices=[('+', 'Created'), ('~', 'Changed'), ('-', 'Deleted')], max_length=1)),
            ],
            options={
                'verbose_name': 'historical seam',
                'verbose_name_plural': 'historical seams',
                'ordering': ('-history_date', '-history_id'),
                'get_latest_by': ('history_date', 'history_id'),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name='HistoricalSection',
            fields=[
                ('id', models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name='ID')),
                ('name', models.CharField(max_length=120)),
                ('position', models.PositiveIntegerField()),
                ('history_id', models.AutoField(primary_key=True, serialize=False)),
                ('history_date', models.DateTimeField(db_index=True)),
                ('history_change_reason', models.CharField(max_length=100, null=True)),
                ('history_type', models.CharField(choices=[('+', 'Created'), ('~', 'Changed'), ('-', 'Deleted')], max_length=1)),
            ],
            options={
                'verbose_name': 'historical section',
                'verbose_name_plural': 'historical sections',
                'ordering': ('-history_date', '-history_id'),
                'get_latest_by': ('history_date', 'history_id'),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name='HistoricalStep',
            fields=[
                ('id', models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name='ID')),
                ('code', models.CharField(max_length=40)),
                ('title', models.CharField(max_length=300)),
                ('position', models.PositiveIntegerField()),
                ('planned_on', models.DateField(blank=True, null=True)),
                ('minutes', models.PositiveIntegerField(blank=True, null=True)),
                ('hand', models.CharField(blank=True, choices=[('left', 'left'), ('right', 'right'), ('none', 'none')], max_length=5)),
                ('done', models.BooleanField(default=False)),
                ('done_on', models.DateField(blank=True, null=True)),
                ('history_id', models.AutoField(primary_key=True, serialize=False)),
                ('history_date', models.DateTimeField(db_index=True)),
                ('history_change_reason', models.CharField(max_length=100, null=True)),
                ('history_type', models.CharField(choices=[('+', 'Created'), ('~', 'Changed'), ('-', 'Deleted')], max_length=1)),
            ],
            options={
                'verbose_name': 'historical step',
                'verbose_name_plural': 'historical steps',
                'ordering': ('-history_date', '-history_id'),
                'get_latest_by': ('history_date', 'history_id'),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name='HistoricalSubstitution',
            fields=[
                ('id', models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name='ID')),
                ('at', models.DateTimeField(default=django.utils.timezone.now)),
                ('note', models.CharField(max_length=300)),
                ('withdrawn_at', models.DateTimeField(blank=True, null=True)),
                ('history_id', models.AutoField(primary_key=True, serialize=False)),
                ('history_date', models.DateTimeField(db_index=True)),
                ('history_change_reason', models.CharField(max_length=100, null=True)),
                ('history_type', models.CharField(choices=[('+', 'Created'), ('~', 'Changed'), ('-', 'Deleted')], max_length=1)),
            ],
            options={
                'verbose_name': 'historical substitution',
                'verbose_name_plural': 'historical substitutions',
                'ordering': ('-history_date', '-history_id'),
                'get_latest_by': ('history_date', 'history_id'),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name='LoadedFile',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('kind', models.CharField(max_length=10)),
                ('name', models.CharField(max_length=200)),
                ('digest', models.CharField(max_length=64)),
                ('at', models.DateTimeField(default=django.utils.timezone.now)),
            ],
        ),
        migrations.CreateModel(
            name='Project',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('code', models.CharField(max_length=40)),
                ('name', models.CharField(max_length=120)),
            ],
        ),
        migrations.CreateModel(
            name='RivetLoss',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('diameter', inventory.common.fields.FractionField(max_length=31, verbose_name='diameter in inches')),
                ('percent', models.DecimalField(decimal_places=2, max_digits=5)),
            ],
        ),
        migrations.CreateModel(
            name='RivetRow',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('code', models.CharField(max_length=40)),
                ('position', models.PositiveIntegerField(default=0)),
                ('holes', models.PositiveIntegerField()),
                ('grip', inventory.common.fields.FractionField(blank=True, max_length=31, null=True, verbose_name='grip in inches')),
                ('cleco_every', models.PositiveIntegerField(blank=True, null=True, verbose_name='a cleco in every n-th hole')),
            ],
        ),
        migrations.CreateModel(
            name='SealingSupply',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('name', models.CharField(max_length=80)),
                ('quantity', inventory.common.fields.QuantityField(verbose_name='quantity for a batch')),
                ('unit', models.CharField(max_length=40)),
            ],
        ),
        migrations.CreateModel(
            name='Seam',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('code', models.CharField(max_length=40)),
                ('position', models.PositiveIntegerField(default=0)),
                ('shape', models.CharField(choices=[('concave', 'concave'), ('triangle', 'triangle'), ('quarter_round', 'quarter_round'), ('film', 'film'), ('dome', 'dome'), ('each', 'each')], max_length=13)),
                ('length', inventory.common.fields.FractionField(blank=True, max_length=31, null=True)),
                ('unit', models.CharField(blank=True, max_length=40)),
                ('leg_a', inventory.common.fields.FractionField(blank=True, max_length=31, null=True)),
                ('leg_b', inventory.common.fields.FractionField(blank=True, max_length=31, null=True)),
                ('thickness', inventory.common.fields.FractionField(blank=True, max_length=31, null=True)),
                ('size_unit', models.CharField(blank=True, max_length=40)),
                ('count', models.PositiveIntegerField(default=1)),
                ('grams_each', inventory.common.fields.FractionField(blank=True, max_length=31, null=True)),
                ('loss_percent', inventory.common.fields.FractionField(default='0', max_length=31)),
            ],
        ),
        migrations.CreateModel(
            name='Section',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('name', models.CharField(max_length=120)),
                ('position', models.PositiveIntegerField()),
            ],
        ),
        migrations.CreateModel(
            name='Step',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('code', models.CharField(max_length=40)),
                ('title', models.CharField(max_length=300)),
                ('position', models.PositiveIntegerField()),
                ('planned_on', models.DateField(blank=True, null=True)),
                ('minutes', models.PositiveIntegerField(blank=True, null=True)),
                ('hand', models.CharField(blank=True, choices=[('left', 'left'), ('right', 'right'), ('none', 'none')], max_length=5)),
                ('done', models.BooleanField(default=False)),
                ('done_on', models.DateField(blank=True, null=True)),
            ],
        ),
        migrations.CreateModel(
            name='StepAfter',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ],
        ),
        migrations.CreateModel(
            name='Substitution',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('at', models.DateTimeField(default=django.utils.timezone.now)),
                ('note', models.CharField(max_length=300)),
                ('withdrawn_at', models.DateTimeField(blank=True, null=True)),
            ],
        ),
            migrations.AddField(
            model_name='callout',
            name='item',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='call_outs', to='inventory.item'),
        ),
        migrations.AddField(
            model_name='callout',
            name='workshop',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='call_outs', to='inventory.workshop'),
        ),
        migrations.AddField(
            model_name='clecospacing',
            name='workshop',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='cleco_spacings', to='inventory.workshop'),
        ),
        migrations.AddField(
            model_name='finish',
            name='by',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='finishes', to='inventory.member'),
        ),
        migrations.AddField(
            model_name='finish',
            name='taken_back_by',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='inventory.member'),
        ),
        migrations.AddField(
            model_name='finish',
            name='workshop',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='finishes', to='inventory.workshop'),
        ),
        migrations.AddField(
            model_name='historicalcallout',
            name='history_relation',
            field=models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='buildplan.callout'),
        ),
        migrations.AddField(
            model_name='historicalcallout',
            name='history_user',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to='inventory.member'),
        ),
        migrations.AddField(
            model_name='historicalcallout',
            name='item',
            field=models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='inventory.item'),
        ),
        migrations.AddField(
            model_name='historicalcallout',
            name='workshop',
            field=models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='inventory.workshop'),
        ),
        migrations.AddField(
            model_name='historicalclecospacing',
            name='history_relation',
            field=models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='buildplan.clecospacing'),
        ),
        migrations.AddField(
            model_name='historicalclecospacing',
            name='history_user',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to='inventory.member'),
        ),
        migrations.AddField(
            model_name='historicalclecospacing',
            name='workshop',
            field=models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='inventory.workshop'),
        ),
        migrations.AddField(
            model_name='historicalproject',
            name='bench',
            field=models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='inventory.bench'),
        ),
        migrations.AddField(
            model_name='historicalproject',
            name='history_user',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to='inventory.member'),
        ),
        migrations.AddField(
            model_name='historicalproject',
            name='workshop',
            field=models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='inventory.workshop'),
        ),
        migrations.AddField(
            model_name='historicalrivetloss',
            name='history_user',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to='inventory.member'),
        ),
        migrations.AddField(
            model_name='historicalrivetloss',
            name='workshop',
            field=models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='inventory.workshop'),
        ),
        migrations.AddField(
            model_name='historicalrivetrow',
            name='cleco',
            field=models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='inventory.item'),
        ),
        migrations.AddField(
            model_name='historicalrivetrow',
            name='history_user',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to='inventory.member'),
        ),
        migrations.AddField(
            model_name='historicalrivetrow',
            name='rivet',
            field=models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='inventory.item'),
        ),
        migrations.AddField(
            model_name='historicalrivetrow',
            name='workshop',
            field=models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='inventory.workshop'),
        ),
        migrations.AddField(
            model_name='historicalsealingsupply',
            name='history_user',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to='inventory.member'),
        ),
        migrations.AddField(
            model_name='historicalsealingsupply',
            name='workshop',
            field=models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='inventory.workshop'),
        ),
        migrations.AddField(
            model_name='historicalseam',
            name='history_user',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to='inventory.member'),
        ),
        migrations.AddField(
            model_name='historicalseam',
            name='sealant',
            field=models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='inventory.item'),
        ),
        migrations.AddField(
            model_name='historicalseam',
            name='workshop',
            field=models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='inventory.workshop'),
        ),
        migrations.AddField(
            model_name='historicalsection',
            name='history_user',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to='inventory.member'),
        ),
        migrations.AddField(
            model_name='historicalsection',
            name='workshop',
            field=models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='inventory.workshop'),
        ),
        migrations.AddField(
            model_name='historicalstep',
            name='history_user',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to='inventory.member'),
        ),
        migrations.AddField(
            model_name='historicalstep',
            name='workshop',
            field=models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='inventory.workshop'),
        ),
        migrations.AddField(
            model_name='historicalsubstitution',
            name='by',
            field=models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='inventory.member'),
        ),
        migrations.AddField(
            model_name='historicalsubstitution',
            name='history_user',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to='inventory.member'),
        ),
        migrations.AddField(
            model_name='historicalsubstitution',
            name='served_by',
            field=models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='inventory.item'),
        ),
        migrations.AddField(
            model_name='historicalsubstitution',
            name='wanted',
            field=models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='inventory.item'),
        ),
        migrations.AddField(
            model_name='historicalsubstitution',
            name='withdrawn_by',
            field=models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='inventory.member'),
        ),
        migrations.AddField(
            model_name='historicalsubstitution',
            name='workshop',
            field=models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='inventory.workshop'),
        ),
        migrations.AddField(
            model_name='loadedfile',
            name='bench',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='loaded_files', to='inventory.bench'),
        ),
        migrations.AddField(
            model_name='loadedfile',
            name='by',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='loaded_files', to='inventory.member'),
        ),
        migrations.AddField(
            model_name='loadedfile',
            name='workshop',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='loaded_files', to='inventory.workshop'),
        ),
        migrations.AddField(
            model_name='project',
            name='bench',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='projects', to='inventory.bench'),
        ),
        migrations.AddField(
            model_name='project',
            name='workshop',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='projects', to='inventory.workshop'),
        ),
        migrations.AddField(
            model_name='historicalstep',
            name='project',
            field=models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='buildplan.project'),
        ),
        migrations.AddField(
            model_name='historicalsection',
            name='project',
            field=models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='buildplan.project'),
        ),
        migrations.AddField(
            model_name='historicalproject',
            name='history_relation',
            field=models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='buildplan.project'),
        ),
        migrations.AddField(
            model_name='rivetloss',
            name='workshop',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='rivet_losses', to='inventory.workshop'),
        ),
        migrations.AddField(
            model_name='historicalrivetloss',
            name='history_relation',
            field=models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='buildplan.rivetloss'),
        ),
        migrations.AddField(
            model_name='rivetrow',
            name='cleco',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='cleco_rows', to='inventory.item'),
        ),
        migrations.AddField(
            model_name='rivetrow',
            name='rivet',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='rivet_rows', to='inventory.item'),
        ),
        migrations.AddField(
            model_name='rivetrow',
            name='workshop',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='rivet_rows', to='inventory.workshop'),
        ),
        migrations.AddField(
            model_name='historicalrivetrow',
            name='history_relation',
            field=models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='buildplan.rivetrow'),
        ),
        migrations.AddField(
            model_name='sealingsupply',
            name='workshop',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='sealing_supplies', to='inventory.workshop'),
        ),
        migrations.AddField(
            model_name='historicalsealingsupply',
            name='history_relation',
            field=models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='buildplan.sealingsupply'),
        ),
        migrations.AddField(
            model_name='seam',
            name='sealant',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='seams', to='inventory.item'),
        ),
        migrations.AddField(
            model_name='seam',
            name='workshop',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='seams', to='inventory.workshop'),
        ),
        migrations.AddField(
            model_name='historicalseam',
            name='history_relation',
            field=models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='buildplan.seam'),
        ),
        migrations.AddField(
            model_name='section',
            name='project',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='sections', to='buildplan.project'),
        ),
        migrations.AddField(
            model_name='section',
            name='workshop',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='sections', to='inventory.workshop'),
        ),
        migrations.AddField(
            model_name='historicalstep',
            name='section',
            field=models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='buildplan.section'),
        ),
        migrations.AddField(
            model_name='historicalsection',
            name='history_relation',
            field=models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='buildplan.section'),
        ),
        migrations.AddField(
            model_name='step',
            name='project',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='steps', to='buildplan.project'),
        ),
        migrations.AddField(
            model_name='step',
            name='section',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='steps', to='buildplan.section'),
        ),
        migrations.AddField(
            model_name='step',
            name='workshop',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='steps', to='inventory.workshop'),
        ),
        migrations.AddField(
            model_name='seam',
            name='step',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='seams', to='buildplan.step'),
        ),
        migrations.AddField(
            model_name='rivetrow',
            name='clecos_until',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='frees_clecos_of', to='buildplan.step'),
        ),
        migrations.AddField(
            model_name='rivetrow',
            name='step',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='rivet_rows', to='buildplan.step'),
        ),
        migrations.AddField(
            model_name='historicalsubstitution',
            name='step',
            field=models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='buildplan.step'),
        ),
        migrations.AddField(
            model_name='historicalstep',
            name='history_relation',
            field=models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='buildplan.step'),
        ),
        migrations.AddField(
            model_name='historicalseam',
            name='step',
            field=models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='buildplan.step'),
        ),
        migrations.AddField(
            model_name='historicalrivetrow',
            name='clecos_until',
            field=models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='buildplan.step'),
        ),
        migrations.AddField(
            model_name='historicalrivetrow',
            name='step',
            field=models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='buildplan.step'),
        ),
        migrations.AddField(
            model_name='historicalcallout',
            name='step',
            field=models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='buildplan.step'),
        ),
        migrations.AddField(
            model_name='finish',
            name='step',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='finishes', to='buildplan.step'),
        ),
        migrations.AddField(
            model_name='callout',
            name='step',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='call_outs', to='buildplan.step'),
        ),
        migrations.AddField(
            model_name='stepafter',
            name='after',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='befores', to='buildplan.step'),
        ),
        migrations.AddField(
            model_name='stepafter',
            name='step',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='afters', to='buildplan.step'),
        ),
        migrations.AddField(
            model_name='stepafter',
            name='workshop',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='step_afters', to='inventory.workshop'),
        ),
        migrations.AddField(
            model_name='substitution',
            name='by',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='substitutions', to='inventory.member'),
        ),
        migrations.AddField(
            model_name='substitution',
            name='served_by',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='serves_for', to='inventory.item'),
        ),
        migrations.AddField(
            model_name='substitution',
            name='step',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='substitutions', to='buildplan.step'),
        ),
        migrations.AddField(
            model_name='substitution',
            name='wanted',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='replaced_by', to='inventory.item'),
        ),
        migrations.AddField(
            model_name='substitution',
            name='withdrawn_by',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='inventory.member'),
        ),
        migrations.AddField(
            model_name='substitution',
            name='workshop',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='substitutions', to='inventory.workshop'),
        ),
        migrations.AddField(
            model_name='historicalsubstitution',
            name='history_relation',
            field=models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='buildplan.substitution'),
        ),
        migrations.AddConstraint(
            model_name='clecospacing',
            constraint=models.UniqueConstraint(fields=('workshop', 'stage'), name='cleco_spacing_once_a_stage'),
        ),
        migrations.AddConstraint(
            model_name='clecospacing',
            constraint=models.CheckConstraint(condition=models.Q(('stage__in', ['fit_up', 'match_drill', 'final', 'curing'])), name='cleco_spacing_stage_known'),
        ),
        migrations.AddConstraint(
            model_name='clecospacing',
            constraint=models.CheckConstraint(condition=models.Q(('every__gt', 0)), name='cleco_spacing_positive'),
        ),
        migrations.AddIndex(
            model_name='loadedfile',
            index=models.Index(fields=['workshop', 'bench', 'kind', 'digest'], name='loaded_file_digest'),
        ),
        migrations.AddConstraint(
            model_name='project',
            constraint=models.UniqueConstraint(models.F('workshop'), django.db.models.functions.text.Upper('code'), name='project_code_unique'),
        ),
        migrations.AddConstraint(
            model_name='rivetloss',
            constraint=models.UniqueConstraint(fields=('workshop', 'diameter'), name='rivet_loss_once_a_size'),
        ),
        migrations.AddConstraint(
            model_name='rivetloss',
            constraint=models.CheckConstraint(condition=models.Q(('percent__gte', 0)), name='rivet_loss_not_negative'),
        ),
        migrations.AddConstraint(
            model_name='rivetloss',
            constraint=models.CheckConstraint(condition=models.Q(('percent__lte', 100)), name='rivet_loss_at_most_all'),
        ),
        migrations.AddConstraint(
            model_name='sealingsupply',
            constraint=models.UniqueConstraint(models.F('workshop'), django.db.models.functions.text.Upper('name'), name='sealing_supply_name_unique'),
        ),
        migrations.AddConstraint(
            model_name='sealingsupply',
            constraint=models.CheckConstraint(condition=models.Q(('quantity__gt', 0)), name='sealing_supply_positive'),
        ),
        migrations.AddConstraint(
            model_name='section',
            constraint=models.UniqueConstraint(models.F('project'), django.db.models.functions.text.Upper('name'), name='section_name_unique'),
        ),
        migrations.AddConstraint(
            model_name='step',
            constraint=models.UniqueConstraint(models.F('project'), django.db.models.functions.text.Upper('code'), name='step_code_unique'),
        ),
        migrations.AddConstraint(
            model_name='step',
            constraint=models.CheckConstraint(condition=models.Q(('done', True), ('done_on', None), _connector='OR'), name='step_day_only_when_done'),
        ),
        migrations.AddConstraint(
            model_name='seam',
            constraint=models.UniqueConstraint(models.F('step'), django.db.models.functions.text.Upper('code'), name='seam_code_unique'),
        ),
        migrations.AddConstraint(
            model_name='seam',
            constraint=models.CheckConstraint(condition=models.Q(('count__gt', 0)), name='seam_count_positive'),
        ),
        migrations.AddConstraint(
            model_name='rivetrow',
            constraint=models.UniqueConstraint(models.F('step'), django.db.models.functions.text.Upper('code'), name='rivet_row_code_unique'),
        ),
        migrations.AddConstraint(
            model_name='rivetrow',
            constraint=models.CheckConstraint(condition=models.Q(('holes__gt', 0)), name='rivet_row_has_holes'),
        ),
        migrations.AddConstraint(
            model_name='rivetrow',
            constraint=models.CheckConstraint(condition=models.Q(('cleco_every__gt', 0)), name='rivet_row_cleco_every_positive'),
        ),
        migrations.AddConstraint(
            model_name='rivetrow',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('cleco', None), ('cleco_every', None)), models.Q(('cleco__isnull', False), ('cleco_every__isnull', False)), _connector='OR'), name='rivet_row_cleco_where_spaced'),
        ),
        migrations.AddConstraint(
            model_name='finish',
            constraint=models.UniqueConstraint(condition=models.Q(('taken_back_at', None)), fields=('step',), name='step_finished_once'),
        ),
        migrations.AddConstraint(
            model_name='callout',
            constraint=models.UniqueConstraint(fields=('step', 'item'), name='call_out_once_a_step'),
        ),
        migrations.AddConstraint(
            model_name='callout',
            constraint=models.CheckConstraint(condition=models.Q(('quantity__gt', 0)), name='call_out_positive'),
        ),
        migrations.AddConstraint(
            model_name='stepafter',
            constraint=models.UniqueConstraint(fields=('step', 'after'), name='step_after_once'),
        ),
        migrations.AddConstraint(
            model_name='stepafter',
            constraint=models.CheckConstraint(condition=models.Q(('step', models.F('after')), _negated=True), name='step_not_after_itself'),
        ),
        migrations.AddConstraint(
            model_name='substitution',
            constraint=models.UniqueConstraint(condition=models.Q(('withdrawn_at', None)), fields=('step', 'wanted'), name='substitution_once_a_step'),
        ),
        migrations.AddConstraint(
            model_name='substitution',
            constraint=models.CheckConstraint(condition=models.Q(('wanted', models.F('served_by')), _negated=True), name='substitution_of_another_item'),
        ),
        migrations.AddConstraint(
            model_name='substitution',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('withdrawn_at', None), ('withdrawn_by', None)), models.Q(('withdrawn_at__isnull', False), ('withdrawn_by__isnull', False)), _connector='OR'), name='substitution_withdrawn_by_somebody'),
        ),
        ])]
