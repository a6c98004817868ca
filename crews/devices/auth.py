"""A paired phone as a principal of the API."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.translation import gettext as _
from rest_framework.authentication import BaseAuthentication
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.request import Request

from equipment.site.callers import Caller
from equipment.site.models import Site

from .models import Device
from .services import hashed


@dataclass(frozen=True, slots=True)
class Phone:
    """A paired phone: acts as its worker, on its one site."""

    device: Device
    is_authenticated: bool = True
    is_active: bool = True

    @property
    def pk(self) -> str:
        """Tell phones from accounts wherever a principal's key is asked for."""
        return f"phone-{self.device.pk}"

    @property
    def site(self) -> Site:
        """The phone's own site."""
        return self.device.site

    def caller_on(self, slug: str) -> Caller | None:
        """Give the caller on the phone's own site, None elsewhere."""
        worker = self.device.worker
        if self.device.site.slug != slug:
            return None
        return Caller(self.device.site, worker.role, worker.actor, worker.language, self.device.pk)


class PhoneAuthentication(BaseAuthentication):
    """`Authorization: Bearer TOKEN` (RFC 6750) of a phone that is not revoked."""

    def authenticate(self, request: Request) -> tuple[Phone, Device] | None:
        """Find the phone of the token; None lets other schemes try."""
        scheme, _sep, token = request.headers.get("Authorization", "").partition(" ")
        if scheme.lower() != "bearer" or not token:
            return None
        device = (
            Device.objects.select_related("site", "worker__actor")
            .filter(token_hash=hashed(token.strip()), revoked_at=None, worker__retired_at=None)
            .first()
        )
        if device is None:
            raise AuthenticationFailed(_("This phone is not paired any more. Pair it again."))
        return Phone(device), device

    def authenticate_header(self, request: Request) -> str:
        """Ask for a token, so that a refusal is 401 and not 403."""
        return "Bearer"
