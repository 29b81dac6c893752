import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    """The model is called OrderEntry now; its table keeps its name."""

    dependencies = [migrations.swappable_dependency(settings.AUTH_USER_MODEL), ("jars", "0004_club_order")]

    operations = [
        migrations.AlterModelTable("orderwish", "jars_orderwish"),
        migrations.RenameModel("OrderWish", "OrderEntry"),
        migrations.AlterField(
            "orderentry",
            "line",
            models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="entries", to="jars.orderline"
            ),
        ),
        migrations.AlterField(
            "orderentry",
            "member",
            models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT,
                related_name="order_entries",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
    ]
