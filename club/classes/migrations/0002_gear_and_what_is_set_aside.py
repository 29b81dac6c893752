

import django.db.models.deletion
import django.utils.timezone
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('classes', '0001_the_sessions'),
        ('equipment', '0001_initial'),
        ('jars', '0003_the_ledger_stays'),
    ]

    operations = [
        migrations.CreateModel(
            name='SetAsideTurn',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('number', models.PositiveBigIntegerField(default=0)),
            ],
        ),
        migrations.CreateModel(
            name='SessionGear',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('kind', models.CharField(max_length=24)),
                ('hold', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='session_gear', to='equipment.hold')),
                ('session', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='gear', to='classes.classsession')),
            ],
            options={
                'ordering': ['kind', 'pk'],
            },
        ),
        migrations.CreateModel(
            name='SetAside',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('what', models.CharField(choices=[('jar', 'empty jars'), ('lid', 'lids'), ('supply', 'supplies')], max_length=8)),
                ('key', models.CharField(max_length=40)),
                ('quantity', models.PositiveIntegerField()),
                ('at', models.DateTimeField(default=django.utils.timezone.now)),
                ('place', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='set_aside', to='jars.place')),
                ('session', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='set_aside', to='classes.classsession')),
            ],
            options={
                'ordering': ['what', 'key', 'pk'],
                'indexes': [models.Index(fields=['what', 'key'], name='classes_set_what_1c6366_idx')],
                'constraints': [models.CheckConstraint(condition=models.Q(('quantity__gte', 1)), name='set_aside_is_something'), models.CheckConstraint(condition=models.Q(models.Q(('place__isnull', False), ('what', 'jar')), models.Q(('place', None), ('what__in', ['lid', 'supply'])), _connector='OR'), name='set_aside_jars_stand_somewhere'), models.UniqueConstraint(condition=models.Q(('place', None)), fields=('session', 'what', 'key'), name='set_aside_once_for_a_session'), models.UniqueConstraint(condition=models.Q(('place__isnull', False)), fields=('session', 'what', 'key', 'place'), name='set_aside_once_at_a_place')],
            },
        ),
    ]
