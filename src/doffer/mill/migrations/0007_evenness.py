"""Figures of how machines mix and the trials they come from; both are only ever added to."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

from doffer.mill.guards import EVENNESS_TABLES, lay_guards, lift_guards


def lay(apps, schema_editor):
    lay_guards(schema_editor, schema_editor.connection.vendor, EVENNESS_TABLES)


def lift(apps, schema_editor):
    lift_guards(schema_editor, schema_editor.connection.vendor, EVENNESS_TABLES)


class Migration(migrations.Migration):

    dependencies = [
        ('mill', '0006_kettle_stick'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name='EvennessTrial',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('kind', models.CharField(choices=[('photo', 'photo of a strip'), ('samples', 'small samples weighed'), ('pulse', 'coloured pulse'), ('clean-down', 'clean-down weighed'), ('tufts', 'tufts pulled and weighed')], max_length=10)),
                ('stage', models.CharField(max_length=20)),
                ('passes', models.SmallIntegerField(default=1)),
                ('facts', models.JSONField()),
                ('result', models.JSONField()),
                ('note', models.CharField(blank=True, max_length=400)),
                ('taken_at', models.DateTimeField()),
                ('recorded_at', models.DateTimeField()),
                ('corrects', models.OneToOneField(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='corrected_by', to='mill.evennesstrial')),
                ('lot', models.ForeignKey(blank=True, db_index=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='mill.lot')),
                ('machine', models.ForeignKey(blank=True, db_index=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='mill.machine')),
                ('order', models.ForeignKey(blank=True, db_index=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='mill.order')),
                ('person', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('photo', models.ForeignKey(blank=True, db_index=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='mill.photo')),
                ('run', models.ForeignKey(blank=True, db_index=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='mill.run')),
            ],
            options={
                'ordering': ('id',),
                'indexes': [models.Index(condition=models.Q(('lot__isnull', False)), fields=['lot', '-id'], name='trial_of_lot'), models.Index(condition=models.Q(('order__isnull', False)), fields=['order', '-id'], name='trial_of_order'), models.Index(condition=models.Q(('run__isnull', False)), fields=['run', '-id'], name='trial_of_run'), models.Index(condition=models.Q(('machine__isnull', False)), fields=['machine', '-id'], name='trial_of_machine')],
                'constraints': [models.CheckConstraint(condition=models.Q(('lot__isnull', False), ('order__isnull', False), ('run__isnull', False), ('machine__isnull', False), _connector='OR'), name='trial_is_of_something'), models.CheckConstraint(condition=models.Q(('kind__in', ['photo', 'samples', 'pulse', 'clean-down', 'tufts']), ('passes__gte', 0), models.Q(('stage', ''), _negated=True)), name='trial_words_are_known'), models.CheckConstraint(condition=models.Q(models.Q(('kind', 'photo'), _negated=True), ('photo__isnull', False), _connector='OR'), name='trial_photo_is_there')],
            },
        ),
        migrations.CreateModel(
            name='MachineFigure',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('key', models.CharField(max_length=40)),
                ('value_micro', models.BigIntegerField()),
                ('low_micro', models.BigIntegerField()),
                ('high_micro', models.BigIntegerField()),
                ('found', models.CharField(choices=[('guess', 'guessed'), ('pulse', 'a coloured pulse'), ('clean-down', 'weighed at a clean-down'), ('tufts', 'tufts pulled and weighed'), ('photo', 'a photo of a strip'), ('samples', 'small samples'), ('fit', 'fitted to several trials')], max_length=10)),
                ('n', models.IntegerField(blank=True, null=True)),
                ('trials', models.JSONField(default=list)),
                ('note', models.CharField(blank=True, max_length=400)),
                ('made_at', models.DateTimeField()),
                ('machine', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='figures', to='mill.machine')),
                ('person', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('supersedes', models.OneToOneField(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='superseded_by', to='mill.machinefigure')),
            ],
            options={
                'ordering': ('id',),
                'indexes': [models.Index(fields=['machine', 'key', '-id'], name='machine_figure_newest')],
                'constraints': [models.CheckConstraint(condition=models.Q(('high_micro__gte', models.F('value_micro')), ('low_micro__gte', 0), ('value_micro__gte', models.F('low_micro'))), name='machine_figure_lies_between_its_ends'), models.CheckConstraint(condition=models.Q(('found__in', ['guess', 'pulse', 'clean-down', 'tufts', 'photo', 'samples', 'fit']), models.Q(('key', ''), _negated=True), models.Q(('n', None), ('n__gte', 1), _connector='OR')), name='machine_figure_words_are_known')],
            },
        ),
        migrations.RunPython(lay, lift, elidable=False),
    ]
