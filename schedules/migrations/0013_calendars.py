"""Calendars that people subscribe to, and what each has shown."""

import django.db.models.deletion
import django.db.models.functions.datetime
from django.db import migrations, models

import equipment.site.constraints
from equipment.site.operations import StampChanges


class Migration(migrations.Migration):
    dependencies = [
        ("crews", "0006_changed_at"),
        ("equipment", "0012_changed_at"),
        ("schedules", "0012_handover"),
    ]

    operations = [
        migrations.CreateModel(
            name="Calendar",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "changed_at",
                    models.DateTimeField(
                        db_default=django.db.models.functions.datetime.Now(),
                        editable=False,
                        serialize=False,
                    ),
                ),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("worker", "Worker"),
                            ("crew", "Crew"),
                            ("machine", "Machine"),
                            ("pad", "Pad"),
                        ],
                        max_length=7,
                    ),
                ),
                ("token_hash", models.CharField(blank=True, max_length=64)),
                ("made_at", models.DateTimeField()),
                ("read_at", models.DateTimeField(blank=True, null=True)),
                (
                    "crew",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="crews.crew",
                    ),
                ),
                (
                    "machine",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="equipment.machine",
                    ),
                ),
                (
                    "made_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="equipment.actor",
                    ),
                ),
                (
                    "pad",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="equipment.pad",
                    ),
                ),
                (
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="equipment.site",
                    ),
                ),
                (
                    "worker",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="crews.worker",
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="CalendarEntry",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("key", models.CharField(max_length=60)),
                ("uid", models.UUIDField(unique=True)),
                ("sequence", models.PositiveIntegerField(default=0)),
                ("body", models.JSONField()),
                ("ends_at", models.DateTimeField()),
                ("changed_at", models.DateTimeField()),
                ("is_cancelled", models.BooleanField(default=False)),
                (
                    "calendar",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="entries",
                        to="schedules.calendar",
                    ),
                ),
                (
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="equipment.site",
                    ),
                ),
            ],
        ),
        migrations.AddConstraint(
            model_name="calendar",
            constraint=models.UniqueConstraint(fields=("site", "id"), name="calendar_site_pk"),
        ),
        migrations.AddConstraint(
            model_name="calendar",
            constraint=equipment.site.constraints.SameSite(
                field="worker", name="calendar_worker_same_site"
            ),
        ),
        migrations.AddConstraint(
            model_name="calendar",
            constraint=equipment.site.constraints.SameSite(
                field="crew", name="calendar_crew_same_site"
            ),
        ),
        migrations.AddConstraint(
            model_name="calendar",
            constraint=equipment.site.constraints.SameSite(
                field="machine", name="calendar_machine_same_site"
            ),
        ),
        migrations.AddConstraint(
            model_name="calendar",
            constraint=equipment.site.constraints.SameSite(
                field="pad", name="calendar_pad_same_site"
            ),
        ),
        migrations.AddConstraint(
            model_name="calendar",
            constraint=equipment.site.constraints.SameSite(
                field="made_by", name="calendar_made_by_same_site"
            ),
        ),
        migrations.AddConstraint(
            model_name="calendar",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(
                        ("crew__isnull", True),
                        ("kind", "worker"),
                        ("machine__isnull", True),
                        ("pad__isnull", True),
                        ("worker__isnull", False),
                    ),
                    models.Q(
                        ("crew__isnull", False),
                        ("kind", "crew"),
                        ("machine__isnull", True),
                        ("pad__isnull", True),
                        ("worker__isnull", True),
                    ),
                    models.Q(
                        ("crew__isnull", True),
                        ("kind", "machine"),
                        ("machine__isnull", False),
                        ("pad__isnull", True),
                        ("worker__isnull", True),
                    ),
                    models.Q(
                        ("crew__isnull", True),
                        ("kind", "pad"),
                        ("machine__isnull", True),
                        ("pad__isnull", False),
                        ("worker__isnull", True),
                    ),
                    _connector="OR",
                ),
                name="calendar_of_one_thing",
            ),
        ),
        migrations.AddConstraint(
            model_name="calendar",
            constraint=models.UniqueConstraint(
                fields=("site", "worker", "crew", "machine", "pad"),
                name="calendar_once",
                nulls_distinct=False,
            ),
        ),
        migrations.AddConstraint(
            model_name="calendarentry",
            constraint=models.UniqueConstraint(fields=("site", "id"), name="calendarentry_site_pk"),
        ),
        migrations.AddConstraint(
            model_name="calendarentry",
            constraint=equipment.site.constraints.SameSite(
                field="calendar", name="calendarentry_calendar_same_site"
            ),
        ),
        migrations.AddConstraint(
            model_name="calendarentry",
            constraint=models.UniqueConstraint(
                fields=("calendar", "key"), name="calendarentry_once"
            ),
        ),
        StampChanges("calendar"),
    ]
