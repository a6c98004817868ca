"""Photos and voice notes, what they are about, and the space that they take."""

import django.db.models.deletion
from django.db import migrations, models

import equipment.site.constraints


class Migration(migrations.Migration):
    dependencies = [
        ("equipment", "0010_phone_versions"),
    ]

    operations = [
        migrations.CreateModel(
            name="Attached",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("attachment_id", models.UUIDField()),
                (
                    "subject_kind",
                    models.CharField(
                        choices=[
                            ("problem", "Problem"),
                            ("defect", "Defect"),
                            ("work_order", "Work order"),
                            ("machine", "Machine"),
                            ("place", "Place"),
                        ],
                        max_length=10,
                    ),
                ),
                ("subject_id", models.BigIntegerField()),
                ("at", models.DateTimeField()),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="equipment.actor",
                    ),
                ),
                (
                    "event",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="equipment.event",
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
            options={
                "indexes": [
                    models.Index(
                        fields=["site", "subject_kind", "subject_id"], name="attached_subject"
                    )
                ],
                "constraints": [
                    models.UniqueConstraint(fields=("site", "id"), name="attached_site_pk"),
                    equipment.site.constraints.SameSite(field="by", name="attached_by_same_site"),
                    equipment.site.constraints.SameSite(
                        field="event", name="attached_event_same_site"
                    ),
                    models.UniqueConstraint(
                        fields=("site", "attachment_id", "subject_kind", "subject_id"),
                        name="attached_once",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Attachment",
            fields=[
                ("id", models.UUIDField(primary_key=True, serialize=False)),
                ("device_key", models.BigIntegerField(blank=True, null=True)),
                (
                    "kind",
                    models.CharField(
                        choices=[("photo", "Photo"), ("voice", "Voice note")], max_length=5
                    ),
                ),
                ("sent_sha256", models.CharField(max_length=64)),
                ("sha256", models.CharField(max_length=64)),
                ("n_bytes", models.PositiveIntegerField()),
                ("width", models.PositiveIntegerField(blank=True, null=True)),
                ("height", models.PositiveIntegerField(blank=True, null=True)),
                ("seconds", models.FloatField(blank=True, null=True)),
                ("received_at", models.DateTimeField()),
                (
                    "actor",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="equipment.actor",
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
            options={
                "indexes": [
                    models.Index(fields=["site", "received_at"], name="attachment_received")
                ],
                "constraints": [
                    models.UniqueConstraint(fields=("site", "id"), name="attachment_site_pk"),
                    equipment.site.constraints.SameSite(
                        field="actor", name="attachment_actor_same_site"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(
                                ("height__isnull", False),
                                ("kind", "photo"),
                                ("width__isnull", False),
                            ),
                            models.Q(("kind", "voice"), ("seconds__isnull", False)),
                            _connector="OR",
                        ),
                        name="attachment_kind_has_its_size",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="AttachmentSpace",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("n_bytes", models.BigIntegerField(default=0)),
                (
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="equipment.site",
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(fields=("site", "id"), name="attachmentspace_site_pk"),
                    models.UniqueConstraint(fields=("site",), name="attachmentspace_one_a_site"),
                ],
            },
        ),
    ]
