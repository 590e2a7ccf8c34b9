from django.db import migrations

from inventory.stock.triggers import Guard


class Migration(migrations.Migration):
    dependencies = [("inventory", "0001_initial")]
    operations = [Guard()]
