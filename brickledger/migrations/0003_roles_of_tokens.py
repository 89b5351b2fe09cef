"""Give the tokens that exist the role of their account, so that they open what they opened."""

from django.db import migrations

ROLES = ("reader", "reviewer", "editor")


def give_roles(apps, schema_editor):
    Token = apps.get_model("brickledger", "ApiToken")
    rows = Token.objects.using(schema_editor.connection.alias)
    for role in ROLES:
        rows.filter(user__groups__name=role).update(role=role)
    rows.filter(user__is_superuser=True).update(role="editor")


class Migration(migrations.Migration):

    dependencies = [("brickledger", "0002_token_roles")]

    operations = [migrations.RunPython(give_roles, migrations.RunPython.noop, elidable=True)]
