"""The catalogue over HTTP: adapters, reference devices, and words of power data objects."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.db.models import Q
from django.urls import reverse
from rest_framework.authentication import BaseAuthentication, SessionAuthentication
from rest_framework.exceptions import NotFound
from rest_framework.request import Request
from rest_framework.response import Response

from catalog.actions import get_maker, save_adapter, save_device
from catalog.answers import AdapterAnswer, DecodeAnswer, DeviceAnswer
from catalog.models import Adapter, Device, Maker, Port, Viewer
from catalog.power_delivery.audit import audit
from catalog.power_delivery.objects import decode_all
from catalog.queries import as_one_parameter, find
from catalog.rest.calls import Call, page_of
from catalog.rest.conditions import check_if_match, entity_tag
from catalog.rest.paging import PAGE_PARAMETERS, keyset_page
from catalog.rest.parameters import currency, number, one_of, since, slug, text, whole
from catalog.rest.problems import Fault, Invalid
from catalog.rest.views import ApiView, read_body, tagged
from catalog.serializers import (
    DATES,
    PLAIN,
    AdapterBody,
    DecodeBody,
    DeviceBody,
    adapter_fields,
    adapter_json,
    claims_to_write,
    device_json,
    ports_to_write,
)

RATING_PARAMETERS = {
    "maker": slug.saying("A maker's slug."),
    "power_min": number(minimum=0, maximum=10_000).saying("Rated power from, W."),
    "power_max": number(minimum=0, maximum=10_000).saying("Rated power to, W."),
    "ports_min": whole(minimum=0, maximum=100).saying("At least so many ports."),
    "connector": one_of(*Port.Connector.values).saying("With a port of that connector."),
    "enclosure": one_of(*Adapter.Enclosure.values).saying("What hands touch."),
    "year_min": whole(minimum=1996, maximum=2100).saying("Released in that year or later."),
    "year_max": whole(minimum=1996, maximum=2100).saying("Released in that year or earlier."),
    "price_min": number(minimum=0, maximum=999_999).saying("Price from; needs `currency`."),
    "price_max": number(minimum=0, maximum=999_999).saying("Price to; needs `currency`."),
    "currency": currency.saying("With a price in that currency, ISO 4217."),
}
_WITH_IT = ("ports__protocols", "claims")


def visible_adapter(slug: str, *, viewer: Viewer, lock: bool = False) -> Adapter:
    """The adapter with its ports and claims. Raises `NotFound`, also for a hidden one.

    `lock` keeps others from changing it until the transaction ends.
    """
    adapters = Adapter.objects.visible_to(viewer).select_related("maker")
    if lock:
        adapters = adapters.select_for_update(of=("self",))
    adapter = adapters.prefetch_related(*_WITH_IT).filter(slug=slug).first()
    if adapter is None:
        raise NotFound(f"No adapter is called “{slug[:160]}” here.")
    return adapter


def price_range(given: Mapping[str, Any]) -> tuple[Decimal | None, Decimal | None]:
    """The ends of the range of prices. Raises `Invalid` where nobody says in which currency."""
    low, high = (
        None if given.get(name) is None else Decimal(str(given[name]))
        for name in ("price_min", "price_max")
    )
    if (low is not None or high is not None) and "currency" not in given:
        raise Invalid([Fault("currency", "Say in which currency the price is, such as EUR.")])
    return low, high


def _as_stored(adapter: Adapter) -> Adapter:
    """The adapter read again, for whoever has just written it."""
    return Adapter.objects.select_related("maker").prefetch_related(*_WITH_IT).get(pk=adapter.pk)


def _write(adapter: Adapter, said: dict[str, Any]) -> Adapter:
    """Save what a validated body says; the maker is written down if it is new."""
    for name in (*PLAIN, *DATES):
        if name in said:
            setattr(adapter, name, said[name])
    _refuse_same_name(adapter, maker=said["maker"])
    adapter.maker = get_maker(said["maker"])
    return save_adapter(adapter, ports=ports_to_write(said), claims=claims_to_write(said))


def _refuse_same_name(adapter: Adapter, *, maker: str) -> None:
    same = Adapter.objects.filter(maker__name__iexact=" ".join(maker.split()), name=adapter.name)
    if same.exclude(pk=adapter.pk).exists():
        raise Invalid([Fault("name", f"“{adapter.name}” of this maker is written down already.")])


class AdapterList(ApiView):
    """Every adapter that may be shown."""

    parameters = {
        **PAGE_PARAMETERS,
        "q": text.saying("Words that maker, name or model number hold, all of them."),
        **RATING_PARAMETERS,
        "updated_since": since.saying(
            "Only those written down, changed or come out of embargo since then."
        ),
    }
    permissions = {"POST": "catalog.add_adapter"}
    calls = {
        "GET": Call({200: page_of(AdapterAnswer)}),
        "POST": Call({201: AdapterAnswer}, body=AdapterBody, location=(201,)),
    }

    def get(self, request: Request) -> Response:
        """List adapters by slug; filters: words, maker's slug, power in W, ports, year, price."""
        given = self.given
        if "maker" in given and not Maker.objects.filter(slug=given["maker"]).exists():
            raise Invalid([Fault("maker", "No maker has this slug.")])
        found = Adapter.objects.visible_to(self.viewer).rated_between(
            given.get("power_min"), given.get("power_max")
        )
        if "q" in given:
            fitting = find(given["q"], viewer=self.viewer).adapters
            found = found.filter(pk__in=as_one_parameter(fitting))
        if "maker" in given:
            found = found.filter(maker__slug=given["maker"])
        if given.get("ports_min"):
            found = found.with_ports_at_least(given["ports_min"])
        if "connector" in given:
            found = found.with_connector(given["connector"])
        if "enclosure" in given:
            found = found.filter(enclosure=given["enclosure"])
        found = found.released_between(given.get("year_min"), given.get("year_max"))
        low, high = price_range(given)
        if "currency" in given:
            found = found.priced_between(low, high, currency=given["currency"])
        if "updated_since" in given:
            moment = given["updated_since"]
            out = Adapter.objects.come_out_since(moment).values("pk")
            found = found.filter(Q(changed_at__gte=moment) | Q(pk__in=out))
        page = keyset_page(
            found.select_related("maker").prefetch_related(*_WITH_IT), asked=self.page, key="slug"
        )
        return Response({"results": [adapter_json(row) for row in page.rows], "next": page.next})

    def post(self, request: Request) -> Response:
        """Write down an adapter; it is visible at once unless `publish_on` lies ahead."""
        said = read_body(AdapterBody, request.data)
        with transaction.atomic():
            adapter = _write(Adapter(), said)
        return tagged(
            adapter_json(_as_stored(adapter)),
            status=201,
            headers={"Location": reverse("api-adapter", args=[adapter.slug])},
        )


class AdapterDetail(ApiView):
    """One adapter."""

    permissions = {"PATCH": "catalog.change_adapter"}
    calls = {
        "GET": Call({200: AdapterAnswer}),
        "PATCH": Call({200: AdapterAnswer}, body=AdapterBody, if_match=True),
    }

    def get(self, request: Request, slug: str) -> Response:
        """Show an adapter with its ports and label claims."""
        return tagged(adapter_json(visible_adapter(slug, viewer=self.viewer)))

    def patch(self, request: Request, slug: str) -> Response:
        """Change the fields that are sent; needs If-Match. Lists are replaced as a whole.

        A port that is sent without `protocols` keeps those it has.
        """
        with transaction.atomic():
            adapter = visible_adapter(slug, viewer=self.viewer, lock=True)
            check_if_match(request, current=entity_tag(adapter_json(adapter)))
            _write(adapter, read_body(AdapterBody, _merged(adapter_fields(adapter), request.data)))
        return tagged(adapter_json(_as_stored(adapter)))


def _merged(present: dict[str, Any], change: Any) -> Any:
    """What is there with the change laid over it; anything but an object is left to refuse."""
    if not isinstance(change, Mapping):
        return change
    merged = {**present, **change}
    kept = {port["label"]: port["protocols"] for port in present["ports"]}
    if isinstance(merged["ports"], list):
        merged["ports"] = [
            {"protocols": kept[str(port["label"])], **port}
            if isinstance(port, Mapping) and str(port.get("label")) in kept
            else port
            for port in merged["ports"]
        ]
    return merged


class DeviceList(ApiView):
    """The reference devices that adapters are tried with."""

    parameters = PAGE_PARAMETERS
    permissions = {"POST": "catalog.add_device"}
    calls = {
        "GET": Call({200: page_of(DeviceAnswer)}),
        "POST": Call({201: DeviceAnswer}, body=DeviceBody),
    }

    def get(self, request: Request) -> Response:
        """List reference devices by slug; battery in Wh, highest power in W, its range in V."""
        page = keyset_page(Device.objects.listed(), asked=self.page, key="slug")
        return Response({"results": [device_json(row) for row in page.rows], "next": page.next})

    def post(self, request: Request) -> Response:
        """Write down a reference device, to be named by the runs that charge it."""
        device = save_device(Device(**read_body(DeviceBody, request.data)))
        return Response(device_json(device), status=201)


class Decoding(ApiView):
    """Power data objects of a source, decoded and audited; nothing is written down.

    Nobody needs an account: a body holds all that the answer depends on. A token is read so that
    its calls are counted as its own; a session is not, and what is not read needs no protection
    against a form of another site.
    """

    permission_classes = []
    calls = {"POST": Call({200: DecodeAnswer}, body=DecodeBody, writes=False)}

    def get_authenticators(self) -> list[BaseAuthentication]:
        """All ways to sign in but the session."""
        return [
            way
            for way in super().get_authenticators()
            if not isinstance(way, SessionAuthentication)
        ]

    def post(self, request: Request) -> Response:
        """Decode the words of one source and audit what they advertise; needs no account."""
        said = read_body(DecodeBody, request.data)
        objects = decode_all(said["words"])
        findings = audit(objects, port_rated_power_w=said.get("rated_power_w"))
        return Response(
            {
                "objects": [item.as_json() for item in objects],
                "findings": [item.as_json() for item in findings],
            }
        )
