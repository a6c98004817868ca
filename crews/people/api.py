"""The API of people: workers, what they may do, and their crews."""

from typing import Any

from rest_framework import serializers

from equipment.site.rest import ReadViewSet, site_routes
from equipment.site.restfields import KeyField

from .models import Crew, Skill, Worker, WorkerSkill


class SkillOutput(serializers.ModelSerializer[WorkerSkill]):
    """That a worker is qualified, from a date, until the day it runs out."""

    skill = serializers.SlugRelatedField[Skill]("key", read_only=True)

    class Meta:
        model = WorkerSkill
        fields = ["skill", "from_on", "until_on"]


class WorkerOutput(serializers.ModelSerializer[Worker]):
    """A person who works on the farm."""

    skills = SkillOutput(many=True, read_only=True)

    class Meta:
        model = Worker
        fields = ["id", "key", "name", "crew", "role", "language", "started_on", "skills"]


class WorkerQuery(serializers.Serializer[Any]):
    """Which workers."""

    crew = KeyField(required=False)


class WorkerViewSet(ReadViewSet[Worker]):
    """People who work here now."""

    queryset = Worker.objects.filter(retired_at=None).prefetch_related("skills__skill")
    serializer_class = WorkerOutput
    query = WorkerQuery
    lookups = {"crew": "crew_id"}
    stamps = ("changed_at", "skills__changed_at")


class CrewOutput(serializers.ModelSerializer[Crew]):
    """People who work the same shift together."""

    class Meta:
        model = Crew
        fields = ["id", "key", "name"]


class CrewViewSet(ReadViewSet[Crew]):
    """Crews."""

    queryset = Crew.objects.filter(retired_at=None)
    serializer_class = CrewOutput


urlpatterns = site_routes({"workers": WorkerViewSet, "crews": CrewViewSet})
