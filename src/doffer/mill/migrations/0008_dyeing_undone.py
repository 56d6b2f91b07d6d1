"""Dyeings that were taken back; only ever added to."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

from doffer.mill.guards import UNDONE_TABLES, lay_guards, lift_guards


def lay(apps, schema_editor):
    lay_guards(schema_editor, schema_editor.connection.vendor, UNDONE_TABLES)


def lift(apps, schema_editor):
    lift_guards(schema_editor, schema_editor.connection.vendor, UNDONE_TABLES)


class Migration(migrations.Migration):

    dependencies = [
        ('mill', '0007_evenness'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name='DyeingUndone',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('reason', models.CharField(max_length=400)),
                ('undone_at', models.DateTimeField()),
                ('batch', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='undone', to='mill.dyebatch')),
                ('person', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'ordering': ('id',),
                'constraints': [models.CheckConstraint(condition=models.Q(('reason', ''), _negated=True), name='dyeing_undone_has_a_reason')],
            },
        ),
        migrations.RunPython(lay, lift, elidable=False),
    ]
