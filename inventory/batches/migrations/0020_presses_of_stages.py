from django.conf import settings
from django.db import migrations, models

from inventory.batches import triggers


class Migration(migrations.Migration):

    dependencies = [
        ('batches', '0019_container_uses'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.RunPython(triggers.remove_presses, triggers.install_presses),
        migrations.RemoveConstraint(
            model_name='press',
            name='press_of_a_known_kind',
        ),
        migrations.RemoveConstraint(
            model_name='press',
            name='press_says_what_its_kind_says',
        ),
        migrations.AlterField(
            model_name='press',
            name='kind',
            field=models.CharField(choices=[('done', 'gone on'), ('began', 'the minutes count'), ('fell', 'the boil or the pressure was lost'), ('gauge', 'the gauge was read'), ('short', 'a jar fewer'), ('more', 'a jar more'), ('fridge', 'a jar for the refrigerator'), ('broke', 'a jar broke'), ('lids', "the lids' lot"), ('looked', 'looked at'), ('ph', 'pH read off a strip'), ('taken-back', 'a slip, taken back')], max_length=12),
        ),
        migrations.AddConstraint(
            model_name='press',
            constraint=models.CheckConstraint(condition=models.Q(('kind__in', ['done', 'began', 'fell', 'gauge', 'short', 'more', 'fridge', 'broke', 'lids', 'looked', 'ph', 'taken-back'])), name='press_of_a_known_kind'),
        ),
        migrations.AddConstraint(
            model_name='press',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('kind', 'gauge'), ('psi__gt', 0), ('size', ''), ('words', '')), models.Q(('kind__in', ['lids', 'looked', 'ph']), ('psi', None), ('size', ''), models.Q(('words', ''), _negated=True)), models.Q(('kind__in', ['short', 'more', 'fridge', 'broke']), ('psi', None), ('words', ''), models.Q(('size', ''), _negated=True)), models.Q(('kind__in', ['done', 'began', 'fell', 'taken-back']), ('psi', None), ('size', ''), ('words', '')), _connector='OR'), name='press_says_what_its_kind_says'),
        ),
        migrations.RunPython(triggers.install_presses, triggers.remove_presses),
    ]
