import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

from inventory.batches import triggers


class Migration(migrations.Migration):

    dependencies = [
        ('batches', '0018_corrected_logs'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name='ContainerUse',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('what', models.CharField(choices=[('emptied', 'opened'), ('given', 'given away')], max_length=8)),
                ('at', models.DateTimeField()),
                ('token', models.UUIDField(editable=False, unique=True)),
                ('by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='containers_used', to=settings.AUTH_USER_MODEL)),
                ('jar', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='use', to='batches.jar')),
            ],
            options={
                'ordering': ['-at', '-pk'],
                'constraints': [models.CheckConstraint(condition=models.Q(('what__in', ['emptied', 'given'])), name='container_use_of_a_known_kind')],
            },
        ),
        migrations.RunPython(triggers.CONTAINERS.install, triggers.CONTAINERS.remove),
    ]
