"""Keep append-only records from being changed by any program that opens the database."""

from django.db import migrations

from doffer.mill.guards import FIRST_TABLES, lay_guards, lift_guards


def lay(apps, schema_editor):
    lay_guards(schema_editor, schema_editor.connection.vendor, FIRST_TABLES)


def lift(apps, schema_editor):
    lift_guards(schema_editor, schema_editor.connection.vendor, FIRST_TABLES)


class Migration(migrations.Migration):
    dependencies = [("mill", "0002_initial")]
    operations = [migrations.RunPython(lay, lift, elidable=False)]
