from django.apps import AppConfig


class EquipmentConfig(AppConfig):
    name = "equipment"
    label = "equipment"
