"""The farm's own rules for rosters, demand and wishes, rosters made, and swaps asked for."""

import django.db.models.deletion
import equipment.site.constraints
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('crews', '0001_initial'),
        ('equipment', '0009_machine_worth'),
    ]

    operations = [
        migrations.CreateModel(
            name='RosterPractice',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('rest_h', models.FloatField(blank=True, null=True)),
                ('week_least_h', models.FloatField(blank=True, null=True)),
                ('week_most_h', models.FloatField(blank=True, null=True)),
                ('days_in_row_most', models.PositiveSmallIntegerField(blank=True, null=True)),
                ('nights_in_row_most', models.PositiveSmallIntegerField(blank=True, null=True)),
                ('weekends_most', models.PositiveSmallIntegerField(blank=True, null=True)),
                ('under_price', models.FloatField(default=10)),
                ('wish_price', models.FloatField(default=3)),
                ('turn_price', models.FloatField(default=1)),
                ('apart_price', models.FloatField(default=0.5)),
                ('lead_price', models.FloatField(default=4)),
                ('change_price', models.FloatField(default=2)),
                ('night_price', models.FloatField(default=0)),
                ('weekend_price', models.FloatField(default=0)),
                ('site', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='equipment.site')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('site', 'id'), name='rosterpractice_site_pk'), models.UniqueConstraint(fields=('site',), name='rosterpractice_once')],
            },
        ),
        migrations.CreateModel(
            name='RosterRun',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('from_on', models.DateField()),
                ('until_on', models.DateField()),
                ('made_at', models.DateTimeField()),
                ('state', models.CharField(choices=[('solving', 'Being made'), ('draft', 'Draft'), ('published', 'Published'), ('cancelled', 'Given up'), ('impossible', 'No roster keeps all the rules')], default='solving', max_length=10)),
                ('is_refill', models.BooleanField(default=False)),
                ('seed', models.PositiveIntegerField(default=0)),
                ('site_version', models.PositiveBigIntegerField()),
                ('problem', models.JSONField()),
                ('solution', models.JSONField(blank=True, null=True)),
                ('cost', models.FloatField(blank=True, null=True)),
                ('bound_cost', models.FloatField(blank=True, null=True)),
                ('gap_frac', models.FloatField(blank=True, null=True)),
                ('n_parts_done', models.PositiveSmallIntegerField(default=0)),
                ('why', models.JSONField(default=list)),
                ('told', models.JSONField(default=list)),
                ('finished_at', models.DateTimeField(blank=True, null=True)),
                ('published_at', models.DateTimeField(blank=True, null=True)),
                ('by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='equipment.actor')),
                ('site', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='equipment.site')),
            ],
            options={
                'ordering': ['made_at', 'pk'],
                'constraints': [models.UniqueConstraint(fields=('site', 'id'), name='rosterrun_site_pk'), equipment.site.constraints.SameSite(field='by', name='rosterrun_by_same_site'), models.UniqueConstraint(condition=models.Q(('state', 'solving')), fields=('site',), name='rosterrun_one_live'), models.CheckConstraint(condition=models.Q(('until_on__gt', models.F('from_on'))), name='rosterrun_span'), models.CheckConstraint(condition=models.Q(models.Q(('state__in', ['draft', 'published']), _negated=True), ('solution__isnull', False), _connector='OR'), name='rosterrun_found')],
            },
        ),
        migrations.CreateModel(
            name='ShiftDemand',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('local_date', models.DateField(blank=True, null=True)),
                ('least', models.PositiveSmallIntegerField(default=0)),
                ('target', models.PositiveSmallIntegerField()),
                ('pattern', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='demand', to='crews.shiftpattern')),
                ('site', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='equipment.site')),
                ('skill', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.CASCADE, related_name='+', to='crews.skill')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('site', 'id'), name='shiftdemand_site_pk'), equipment.site.constraints.SameSite(field='pattern', name='shiftdemand_pattern_same_site'), equipment.site.constraints.SameSite(field='skill', name='shiftdemand_skill_same_site'), models.UniqueConstraint(fields=('pattern', 'skill', 'local_date'), name='shiftdemand_once', nulls_distinct=False), models.CheckConstraint(condition=models.Q(('target__gte', models.F('least'))), name='shiftdemand_span')],
            },
        ),
        migrations.CreateModel(
            name='ShiftWish',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('local_date', models.DateField()),
                ('pattern', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.CASCADE, related_name='+', to='crews.shiftpattern')),
                ('site', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='equipment.site')),
                ('worker', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='wishes', to='crews.worker')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('site', 'id'), name='shiftwish_site_pk'), equipment.site.constraints.SameSite(field='worker', name='shiftwish_worker_same_site'), equipment.site.constraints.SameSite(field='pattern', name='shiftwish_pattern_same_site'), models.UniqueConstraint(fields=('worker', 'local_date'), name='shiftwish_once')],
            },
        ),
        migrations.CreateModel(
            name='SwapRequest',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('local_date', models.DateField()),
                ('for_date', models.DateField(blank=True, null=True)),
                ('state', models.CharField(choices=[('asked', 'Asked'), ('approved', 'Approved'), ('refused', 'Refused')], default='asked', max_length=8)),
                ('asked_at', models.DateTimeField()),
                ('decided_at', models.DateTimeField(blank=True, null=True)),
                ('by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='equipment.actor')),
                ('decided_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='equipment.actor')),
                ('site', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='equipment.site')),
                ('to_worker', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='+', to='crews.worker')),
                ('worker', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='+', to='crews.worker')),
            ],
            options={
                'ordering': ['asked_at', 'pk'],
                'constraints': [models.UniqueConstraint(fields=('site', 'id'), name='swaprequest_site_pk'), equipment.site.constraints.SameSite(field='worker', name='swaprequest_worker_same_site'), equipment.site.constraints.SameSite(field='to_worker', name='swaprequest_to_worker_same_site'), equipment.site.constraints.SameSite(field='by', name='swaprequest_by_same_site'), equipment.site.constraints.SameSite(field='decided_by', name='swaprequest_decided_by_same_site'), models.UniqueConstraint(condition=models.Q(('state', 'asked')), fields=('worker', 'local_date'), name='swaprequest_one_open'), models.CheckConstraint(condition=models.Q(('worker', models.F('to_worker')), _negated=True), name='swaprequest_two')],
            },
        ),
        migrations.CreateModel(
            name='WorkerRules',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('rest_h', models.FloatField(blank=True, null=True)),
                ('week_least_h', models.FloatField(blank=True, null=True)),
                ('week_most_h', models.FloatField(blank=True, null=True)),
                ('days_in_row_most', models.PositiveSmallIntegerField(blank=True, null=True)),
                ('nights_in_row_most', models.PositiveSmallIntegerField(blank=True, null=True)),
                ('weekends_most', models.PositiveSmallIntegerField(blank=True, null=True)),
                ('site', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='equipment.site')),
                ('worker', models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, related_name='rules', to='crews.worker')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('site', 'id'), name='workerrules_site_pk'), equipment.site.constraints.SameSite(field='worker', name='workerrules_worker_same_site')],
            },
        ),
    ]
