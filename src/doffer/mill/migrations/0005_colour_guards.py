"""Keep readings, standards, verdicts, recipes and dye records from being changed by any program."""

from django.db import migrations

from doffer.mill.guards import COLOUR_TABLES, lay_guards, lift_guards


def lay(apps, schema_editor):
    lay_guards(schema_editor, schema_editor.connection.vendor, COLOUR_TABLES)


def lift(apps, schema_editor):
    lift_guards(schema_editor, schema_editor.connection.vendor, COLOUR_TABLES)


class Migration(migrations.Migration):
    dependencies = [("mill", "0004_colour")]
    operations = [migrations.RunPython(lay, lift, elidable=False)]
