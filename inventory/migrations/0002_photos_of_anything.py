"""A photo names what it is of by a reference, so that any slice may keep one: the crate or the count that it named becomes that."""

from typing import Any

from django.db import migrations, models


def name_what_it_is_of(apps: Any, _editor: Any) -> None:
    """A count's photo is the count's, any other the crate's."""
    photos = apps.get_model("inventory", "Photo")._base_manager
    for pk, crate, tally in photos.values_list("pk", "crate_id", "tally_id"):
        photos.filter(pk=pk).update(ref=f"tally:{tally}" if tally else f"crate:{crate}")


class Migration(migrations.Migration):
    """The reference is added and filled before the columns go."""

    dependencies = [("inventory", "0001_first_tables")]

    operations = [
        migrations.AddField("photo", "ref", models.CharField("of what", max_length=60, db_index=True, default=""), preserve_default=False),
        migrations.RunPython(name_what_it_is_of, migrations.RunPython.noop),
        migrations.RemoveField("photo", "crate"),
        migrations.RemoveField("photo", "tally"),
        migrations.AddConstraint("photo", models.UniqueConstraint(fields=["workshop", "ref", "digest"], name="photo_once")),
    ]
