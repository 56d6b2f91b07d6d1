"""What machines can be set to, what runs were set to, tests of yarn and of fibre; all only ever added to."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

from doffer.mill.guards import YARN_TABLES, lay_guards, lift_guards


def lay(apps, schema_editor):
    lay_guards(schema_editor, schema_editor.connection.vendor, YARN_TABLES)


def lift(apps, schema_editor):
    lift_guards(schema_editor, schema_editor.connection.vendor, YARN_TABLES)


class Migration(migrations.Migration):

    dependencies = [
        ('mill', '0008_dyeing_undone'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name='LotFibre',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('staple_cv_ppm', models.IntegerField(blank=True, null=True)),
                ('strength_milli_n_per_ktex', models.IntegerField(blank=True, null=True)),
                ('breaks_at', models.CharField(choices=[('unknown', 'not tried'), ('tip', 'near the tip'), ('middle', 'in the middle'), ('base', 'near the base')], default='unknown', max_length=10)),
                ('break_ppm', models.IntegerField(blank=True, null=True)),
                ('short_fibre_ppm', models.IntegerField(blank=True, null=True)),
                ('crimps_per_m', models.IntegerField(blank=True, null=True)),
                ('curvature_mdeg_per_mm', models.IntegerField(blank=True, null=True)),
                ('medullated_ppm', models.IntegerField(blank=True, null=True)),
                ('found_by', models.CharField(choices=[('hand', 'by hand and eye'), ('laboratory', 'by a laboratory'), ('owner', 'told by its owner')], max_length=10)),
                ('note', models.CharField(blank=True, max_length=400)),
                ('made_at', models.DateTimeField()),
                ('lot', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='fibre_tests', to='mill.lot')),
                ('person', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('supersedes', models.OneToOneField(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='superseded_by', to='mill.lotfibre')),
            ],
            options={
                'ordering': ('id',),
                'indexes': [models.Index(fields=['lot', '-id'], name='lot_fibre_newest')],
                'constraints': [models.CheckConstraint(condition=models.Q(('breaks_at__in', ['unknown', 'tip', 'middle', 'base']), ('found_by__in', ['hand', 'laboratory', 'owner'])), name='lot_fibre_words_are_known'), models.CheckConstraint(condition=models.Q(models.Q(('break_ppm', None), models.Q(('break_ppm__gte', 0), ('break_ppm__lte', 1000000)), _connector='OR'), models.Q(('short_fibre_ppm', None), models.Q(('short_fibre_ppm__gte', 0), ('short_fibre_ppm__lte', 1000000)), _connector='OR'), models.Q(('medullated_ppm', None), models.Q(('medullated_ppm__gte', 0), ('medullated_ppm__lte', 1000000)), _connector='OR'), models.Q(('staple_cv_ppm', None), ('staple_cv_ppm__gte', 0), _connector='OR'), models.Q(('strength_milli_n_per_ktex', None), ('strength_milli_n_per_ktex__gt', 0), _connector='OR'), models.Q(('crimps_per_m', None), ('crimps_per_m__gte', 0), _connector='OR'), models.Q(('curvature_mdeg_per_mm', None), ('curvature_mdeg_per_mm__gte', 0), _connector='OR')), name='lot_fibre_figures_are_possible')],
            },
        ),
        migrations.CreateModel(
            name='MachineSetting',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('key', models.CharField(max_length=40)),
                ('values_micro', models.JSONField()),
                ('known', models.CharField(choices=[('guess', 'guessed'), ('maker', 'from its plate or book'), ('measured', 'counted or measured here')], max_length=10)),
                ('note', models.CharField(blank=True, max_length=400)),
                ('made_at', models.DateTimeField()),
                ('machine', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='yarn_settings', to='mill.machine')),
                ('person', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('supersedes', models.OneToOneField(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='superseded_by', to='mill.machinesetting')),
            ],
            options={
                'ordering': ('id',),
                'indexes': [models.Index(fields=['machine', 'key', '-id'], name='machine_setting_newest')],
                'constraints': [models.CheckConstraint(condition=models.Q(('known__in', ['guess', 'maker', 'measured']), models.Q(('key', ''), _negated=True)), name='machine_setting_words_are_known')],
            },
        ),
        migrations.CreateModel(
            name='RunSettings',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('stage', models.CharField(max_length=20)),
                ('fibre', models.CharField(max_length=40)),
                ('diameter_nm', models.IntegerField(blank=True, null=True)),
                ('staple_mm', models.IntegerField(blank=True, null=True)),
                ('settings_micro', models.JSONField(default=dict)),
                ('breaks', models.IntegerField(blank=True, null=True)),
                ('breaks_over_mg', models.BigIntegerField(blank=True, null=True)),
                ('spindle_min', models.IntegerField(blank=True, null=True)),
                ('breaks_milli_per_kg', models.BigIntegerField(blank=True, null=True)),
                ('cv_ppm', models.IntegerField(blank=True, null=True)),
                ('rating', models.SmallIntegerField(blank=True, null=True)),
                ('note', models.CharField(blank=True, max_length=400)),
                ('made_at', models.DateTimeField()),
                ('machine', models.ForeignKey(blank=True, db_index=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='mill.machine')),
                ('person', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('rated_by', models.ForeignKey(blank=True, db_index=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('run', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='set_to', to='mill.run')),
                ('supersedes', models.OneToOneField(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='superseded_by', to='mill.runsettings')),
            ],
            options={
                'ordering': ('id',),
                'indexes': [models.Index(fields=['run', '-id'], name='run_settings_newest'), models.Index(fields=['stage', 'fibre', 'diameter_nm'], name='run_settings_of_like_fibre')],
                'constraints': [models.CheckConstraint(condition=models.Q(models.Q(('rated_by', None), ('rating', None)), models.Q(('rated_by__isnull', False), ('rating__gte', 1), ('rating__lte', 5)), _connector='OR'), name='run_is_rated_by_somebody'), models.CheckConstraint(condition=models.Q(models.Q(('stage', ''), _negated=True), models.Q(('fibre', ''), _negated=True), models.Q(('breaks', None), ('breaks__gte', 0), _connector='OR'), models.Q(('breaks_over_mg', None), ('breaks_over_mg__gt', 0), _connector='OR'), models.Q(('spindle_min', None), ('spindle_min__gt', 0), _connector='OR'), models.Q(('breaks_milli_per_kg', None), ('breaks_milli_per_kg__gte', 0), _connector='OR'), models.Q(('cv_ppm', None), ('cv_ppm__gte', 0), _connector='OR')), name='run_settings_are_not_negative')],
            },
        ),
        migrations.CreateModel(
            name='YarnTest',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('state', models.CharField(choices=[('roller', 'at the front rolls'), ('bobbin', 'single on the bobbin'), ('plied', 'plied, before the wash'), ('finished', 'washed, set and dry')], max_length=10)),
                ('plies', models.SmallIntegerField(default=1)),
                ('length_mm', models.IntegerField(blank=True, null=True)),
                ('masses_mg', models.JSONField(default=list)),
                ('rh_ppm', models.IntegerField(blank=True, null=True)),
                ('regain_ppm', models.IntegerField(blank=True, null=True)),
                ('single_length_mm', models.IntegerField(blank=True, null=True)),
                ('single_turns_milli', models.JSONField(default=list)),
                ('ply_length_mm', models.IntegerField(blank=True, null=True)),
                ('ply_turns_milli', models.JSONField(default=list)),
                ('before_um', models.JSONField(default=list)),
                ('after_um', models.JSONField(default=list)),
                ('back_length_mm', models.IntegerField(blank=True, null=True)),
                ('back_turns_milli', models.JSONField(default=list)),
                ('note', models.CharField(blank=True, max_length=400)),
                ('taken_at', models.DateTimeField()),
                ('recorded_at', models.DateTimeField()),
                ('corrects', models.OneToOneField(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='corrected_by', to='mill.yarntest')),
                ('lot', models.ForeignKey(blank=True, db_index=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='mill.lot')),
                ('order', models.ForeignKey(blank=True, db_index=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='mill.order')),
                ('person', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('run', models.ForeignKey(blank=True, db_index=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='mill.run')),
            ],
            options={
                'ordering': ('id',),
                'indexes': [models.Index(condition=models.Q(('lot__isnull', False)), fields=['lot', '-id'], name='yarn_test_of_lot'), models.Index(condition=models.Q(('order__isnull', False)), fields=['order', '-id'], name='yarn_test_of_order'), models.Index(condition=models.Q(('run__isnull', False)), fields=['run', '-id'], name='yarn_test_of_run')],
                'constraints': [models.CheckConstraint(condition=models.Q(('lot__isnull', False), ('order__isnull', False), ('run__isnull', False), _connector='OR'), name='yarn_test_is_of_something'), models.CheckConstraint(condition=models.Q(('plies__gte', 1), ('state__in', ['roller', 'bobbin', 'plied', 'finished'])), name='yarn_test_words_are_known'), models.CheckConstraint(condition=models.Q(models.Q(('length_mm', None), ('length_mm__gt', 0), _connector='OR'), models.Q(('single_length_mm', None), ('single_length_mm__gt', 0), _connector='OR'), models.Q(('ply_length_mm', None), ('ply_length_mm__gt', 0), _connector='OR'), models.Q(('back_length_mm', None), ('back_length_mm__gt', 0), _connector='OR'), models.Q(('rh_ppm', None), models.Q(('rh_ppm__gte', 0), ('rh_ppm__lte', 1000000)), _connector='OR'), models.Q(('regain_ppm', None), models.Q(('regain_ppm__gte', 0), ('regain_ppm__lt', 1000000)), _connector='OR')), name='yarn_test_figures_are_possible')],
            },
        ),
        migrations.RunPython(lay, lift, elidable=False),
    ]
