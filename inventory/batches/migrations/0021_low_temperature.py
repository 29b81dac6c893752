from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('batches', '0020_presses_of_stages'),
        ('equipment', '0007_two_layers_of_jars'),
        ('fruit', '0003_has_own_use_by'),
        ('jars', '0006_ingredient_lots'),
        ('members', '0018_labels_in_a_printer'),
        ('recipes', '0007_refused_later'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.AddField(
            model_name='batch',
            name='water_f',
            field=models.PositiveSmallIntegerField(blank=True, null=True),
        ),
        migrations.AddConstraint(
            model_name='batch',
            constraint=models.CheckConstraint(condition=models.Q(('water_f', None), models.Q(('canner', 'boiling-water'), ('reprocessed_out_at', None), ('required_psi', None), ('water_f__gte', 180)), _connector='OR'), name='batch_of_low_temperature_is_hot_enough_and_not_processed_twice'),
        ),
    ]
