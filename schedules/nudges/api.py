"""The API of nudges: a phone says where its own go (W3C Push API, RFC 8030)."""

from __future__ import annotations

import base64
from datetime import UTC, datetime
from typing import Any

from cryptography.hazmat.primitives.asymmetric.ec import SECP256R1, EllipticCurvePublicKey
from django.urls import path
from django.utils.translation import gettext as _
from django.utils.translation import override
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from equipment.site.callers import Caller, caller_on
from equipment.site.errors import ForbiddenError, NotFoundError

from .models import Subscription
from .sending import is_on, public_key
from .services import subscribe, unsubscribe


class NudgesOutput(serializers.Serializer[Any]):
    """Whether nudges are sent from here, by what key, and whether this phone gets them."""

    public_key = serializers.CharField(
        allow_blank=True, help_text="For `applicationServerKey`; empty where nudges are off."
    )
    is_subscribed = serializers.BooleanField()


class KeysInput(serializers.Serializer[Any]):
    """The phone's public key and its shared secret, base64url (RFC 8291, 2)."""

    p256dh = serializers.CharField(max_length=100)
    auth = serializers.CharField(max_length=40)

    def validate_p256dh(self, value: str) -> str:
        """Ask for an uncompressed point on P-256."""
        try:
            EllipticCurvePublicKey.from_encoded_point(SECP256R1(), _bytes(value))
        except ValueError as error:
            raise serializers.ValidationError(_("This is no point on P-256.")) from error
        return value

    def validate_auth(self, value: str) -> str:
        """Ask for 16 octets."""
        if len(_bytes(value)) != 16:
            raise serializers.ValidationError(_("This is no secret of 16 octets."))
        return value


def _bytes(text: str) -> bytes:
    try:
        return base64.b64decode(text + "=" * (-len(text) % 4), altchars=b"-_", validate=True)
    except ValueError as error:
        raise serializers.ValidationError(_("This is no base64url.")) from error


class SubscriptionInput(serializers.Serializer[Any]):
    """What the browser's `PushSubscription.toJSON()` gives."""

    endpoint = serializers.URLField(max_length=1000)
    keys = KeysInput()


class NudgesView(APIView):
    """Nudges of the phone that asks: off unless the installation has a key."""

    @extend_schema(responses=NudgesOutput, operation_id="get_nudges")
    def get(self, request: Request, slug: str) -> Response:
        """Say whether there are nudges, and by what key they are signed (RFC 8292)."""
        return Response(self._shown(caller_on(request.user, slug)))

    @extend_schema(request=SubscriptionInput, responses=NudgesOutput, operation_id="put_nudges")
    def put(self, request: Request, slug: str) -> Response:
        """Nudge this phone from now on; another address takes the place of the one before."""
        caller = caller_on(request.user, slug)
        with override(caller.language):
            device_id = _phone_of(caller)
            form = SubscriptionInput(data=request.data)
            form.is_valid(raise_exception=True)
            if not is_on():
                raise NotFoundError(_("Nudges are off here: there is no key to sign them with."))
            subscribe(
                site_id=caller.site.pk,
                device_id=device_id,
                endpoint=form.validated_data["endpoint"],
                **form.validated_data["keys"],
                at=datetime.now(UTC),
            )
        return Response(self._shown(caller))

    @extend_schema(responses={200: NudgesOutput}, operation_id="delete_nudges")
    def delete(self, request: Request, slug: str) -> Response:
        """Nudge this phone no more."""
        caller = caller_on(request.user, slug)
        with override(caller.language):
            device_id = _phone_of(caller)
        unsubscribe(site_id=caller.site.pk, device_id=device_id, at=datetime.now(UTC))
        return Response(self._shown(caller))

    def _shown(self, caller: Caller) -> Any:
        device_id = caller.device_id or 0
        known = Subscription.objects.filter(device_id=device_id, ended_at=None)
        is_subscribed = known.exists()
        return NudgesOutput({"public_key": public_key(), "is_subscribed": is_subscribed}).data


def _phone_of(caller: Caller) -> int:
    if caller.device_id is None:
        raise ForbiddenError(_("Only a paired phone is nudged."))
    return caller.device_id


urlpatterns = [
    path("sites/<slug:slug>/nudges/", NudgesView.as_view(), name="api-nudges"),
]
