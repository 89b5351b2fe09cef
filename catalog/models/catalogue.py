"""What is tested: makers, adapters, physical units, ports, label claims, reference devices."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime
from decimal import Decimal
from typing import Self

from django.contrib.auth.models import AbstractBaseUser, AnonymousUser
from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import F, Q
from django.urls import reverse
from django.utils import timezone

Viewer = AbstractBaseUser | AnonymousUser | None


def sees_unpublished(viewer: Viewer) -> bool:
    """Whether this person may see drafts and embargoed adapters (None: the public)."""
    return viewer is not None and getattr(viewer, "has_perm", lambda _: False)(
        "catalog.view_unpublished"
    )


class Maker(models.Model):
    """Who makes an adapter."""

    name = models.CharField(max_length=100, unique=True)
    slug = models.SlugField(max_length=100, unique=True)

    def __str__(self) -> str:
        return self.name


class AdapterQuerySet(models.QuerySet["Adapter"]):
    """Filters over adapters."""

    def visible_to(self, viewer: Viewer) -> Self:
        """Those that this person may know of; None stands for the public."""
        return self if sees_unpublished(viewer) else self.published()

    def published(self) -> Self:
        """Those whose publish date, if any, has come."""
        return self.filter(Q(publish_on=None) | Q(publish_on__lte=timezone.now().date()))

    def embargoed(self) -> Self:
        """Those whose publish date lies ahead."""
        return self.filter(publish_on__gt=timezone.now().date())

    def come_out_since(self, moment: datetime) -> Self:
        """Those whose embargo ended on the day of `moment` (UTC) or since."""
        return self.filter(publish_on__gte=moment.date(), publish_on__lte=timezone.now().date())

    def search(self, text: str) -> Self:
        """Those whose maker, name or model number hold every word of `text`."""
        found = self
        for word in text.split():
            found = found.filter(
                Q(name__icontains=word)
                | Q(maker__name__icontains=word)
                | Q(model_number__icontains=word)
            )
        return found

    def rated_between(self, minimum: float | None, maximum: float | None) -> Self:
        """Those rated from `minimum` to `maximum` watts, both inclusive."""
        found = self
        if minimum is not None:
            found = found.filter(rated_power_w__gte=minimum)
        if maximum is not None:
            found = found.filter(rated_power_w__lte=maximum)
        return found

    def with_ports_at_least(self, count: int) -> Self:
        """Those with at least that many ports."""
        counted = (
            Port.objects.filter(adapter=models.OuterRef("pk"))
            .values("adapter")
            .annotate(count=models.Count("pk"))
            .values("count")
        )
        return self.annotate(
            port_total=models.functions.Coalesce(
                models.Subquery(counted, output_field=models.IntegerField()), 0
            )
        ).filter(port_total__gte=count)

    def with_connector(self, connector: str) -> Self:
        """Those with a port of that connector."""
        return self.filter(
            models.Exists(Port.objects.filter(adapter=models.OuterRef("pk"), connector=connector))
        )

    def released_between(self, first: int | None, last: int | None) -> Self:
        """Those released from the year `first` to the year `last`, both inclusive.

        An adapter whose date of release nobody wrote down is in no range.
        """
        found = self
        if first is not None:
            found = found.filter(released_on__gte=date(first, 1, 1))
        if last is not None:
            found = found.filter(released_on__lte=date(last, 12, 31))
        return found

    def priced_between(
        self, minimum: Decimal | None, maximum: Decimal | None, *, currency: str
    ) -> Self:
        """Those with a price of that currency (ISO 4217) from `minimum` to `maximum`, inclusive."""
        found = self.filter(currency=currency)
        if minimum is not None:
            found = found.filter(price__gte=minimum)
        if maximum is not None:
            found = found.filter(price__lte=maximum)
        return found


def _all_or_none(*names: str) -> Q:
    present = Q(**{f"{name}__isnull": False for name in names})
    absent = Q(**{f"{name}__isnull": True for name in names})
    return present | absent


class Adapter(models.Model):
    """A model of adapter, as its maker states it.

    `supply` decides the row of the efficiency limits. An adjustable USB PD adapter is an
    adaptive single-voltage supply; one that gives different voltages at the same time may
    have to be judged as a multiple-voltage supply, which its editor decides.
    """

    class Enclosure(models.TextChoices):
        """Materials of the touch-temperature table of IEC 62368-1."""

        PLASTIC = "plastic", "plastic or rubber"
        METAL = "metal", "metal"
        GLASS = "glass", "glass or porcelain"
        WOOD = "wood", "wood"

    class Supply(models.TextChoices):
        """Classes of external power supply in the efficiency rules."""

        SINGLE = "single", "single voltage"
        ADAPTIVE = "adaptive", "adaptive (negotiates its voltage)"
        MULTIPLE = "multiple", "multiple voltage"

    maker = models.ForeignKey(Maker, on_delete=models.PROTECT, related_name="adapters")
    name = models.CharField(max_length=120)
    slug = models.SlugField(max_length=160, unique=True)
    model_number = models.CharField(max_length=80, blank=True)
    rated_power_w = models.FloatField("rated power, W")
    supply = models.CharField(max_length=10, choices=Supply, default=Supply.ADAPTIVE)
    mains_min_v = models.FloatField("lowest mains voltage, V", null=True, blank=True)
    mains_max_v = models.FloatField("highest mains voltage, V", null=True, blank=True)
    length_mm = models.FloatField("body length, mm", null=True, blank=True)
    width_mm = models.FloatField("body width, mm", null=True, blank=True)
    height_mm = models.FloatField("body height, mm", null=True, blank=True)
    mass_g = models.FloatField("mass, g", null=True, blank=True)
    enclosure = models.CharField(
        max_length=10, choices=Enclosure, default=Enclosure.PLASTIC, blank=True
    )
    plug = models.CharField(max_length=60, blank=True)
    released_on = models.DateField("released", null=True, blank=True)
    price = models.DecimalField(max_digits=8, decimal_places=2, null=True, blank=True)
    currency = models.CharField("currency (ISO 4217)", max_length=3, null=True, blank=True)
    publish_on = models.DateField("publish on", null=True, blank=True)
    created_at = models.DateTimeField(default=timezone.now, editable=False)
    changed_at = models.DateTimeField(auto_now=True)

    objects = AdapterQuerySet.as_manager()

    class Meta:
        permissions = [("view_unpublished", "Can see drafts and embargoed adapters")]
        indexes = [models.Index(fields=["rated_power_w"]), models.Index(fields=["publish_on"])]
        constraints = [
            models.UniqueConstraint(fields=["maker", "name"], name="adapter_name_once_per_maker"),
            models.CheckConstraint(
                condition=Q(rated_power_w__gt=0) & Q(rated_power_w__lte=10_000),
                name="adapter_rated_power_positive",
                violation_error_message="Rated power lies between 0 and 10,000 W.",
            ),
            models.CheckConstraint(
                condition=_all_or_none("mains_min_v", "mains_max_v"),
                name="adapter_mains_range_whole",
                violation_error_message="Give both ends of the mains range, or neither.",
            ),
            models.CheckConstraint(
                condition=Q(mains_min_v=None)
                | (Q(mains_min_v__gt=0) & Q(mains_max_v__gte=F("mains_min_v"))),
                name="adapter_mains_range_ordered",
                violation_error_message="The mains range runs from its lower to its higher end.",
            ),
            models.CheckConstraint(
                condition=_all_or_none("length_mm", "width_mm", "height_mm"),
                name="adapter_body_whole",
                violation_error_message="Give length, width and height, or none of them.",
            ),
            models.CheckConstraint(
                condition=Q(length_mm=None)
                | (Q(length_mm__gt=0) & Q(width_mm__gt=0) & Q(height_mm__gt=0)),
                name="adapter_body_positive",
                violation_error_message="Lengths are greater than 0 mm.",
            ),
            models.CheckConstraint(
                condition=Q(mass_g=None) | Q(mass_g__gt=0),
                name="adapter_mass_positive",
                violation_error_message="Mass is greater than 0 g.",
            ),
            models.CheckConstraint(
                condition=_all_or_none("price", "currency"),
                name="adapter_price_has_currency",
                violation_error_message="A price needs its currency, and a currency its price.",
            ),
            models.CheckConstraint(
                condition=Q(price=None) | Q(price__gte=0),
                name="adapter_price_not_negative",
                violation_error_message="A price is not negative.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.maker.name} {self.name}"

    def get_absolute_url(self) -> str:
        """The adapter's public page."""
        return reverse("adapter", args=[self.slug])

    @property
    def is_published(self) -> bool:
        """Whether readers may see it today."""
        return self.publish_on is None or self.publish_on <= timezone.now().date()

    @property
    def volume_cm3(self) -> float | None:
        """Volume of the body without its plug, in cm³, where all three lengths are known."""
        if self.length_mm is None or self.width_mm is None or self.height_mm is None:
            return None
        return self.length_mm * self.width_mm * self.height_mm / 1000


class Unit(models.Model):
    """One physical sample of an adapter: the thing that stands on the bench."""

    adapter = models.ForeignKey(Adapter, on_delete=models.PROTECT, related_name="units")
    serial = models.CharField(max_length=80, default="1")
    source = models.CharField("where it came from", max_length=120, blank=True)
    acquired_on = models.DateField("acquired", null=True, blank=True)
    note = models.CharField(max_length=300, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["adapter", "serial"], name="unit_serial_once"),
            models.CheckConstraint(condition=~Q(serial=""), name="unit_has_serial"),
        ]

    def __str__(self) -> str:
        return f"unit {self.serial}"


class Protocol(models.Model):
    """A charging protocol of an open standard. The list is the editors' to extend."""

    slug = models.SlugField(max_length=60, unique=True)
    name = models.CharField(max_length=120, unique=True)
    standard = models.CharField("defined in", max_length=200)

    def __str__(self) -> str:
        return self.name


class Port(models.Model):
    """One output of an adapter."""

    class Connector(models.TextChoices):
        """Output connectors of USB adapters."""

        USB_C = "usb-c", "USB-C"
        USB_A = "usb-a", "USB-A"
        CAPTIVE_USB_C = "captive-usb-c", "captive USB-C lead"

    adapter = models.ForeignKey(Adapter, on_delete=models.CASCADE, related_name="ports")
    label = models.CharField(max_length=20)
    connector = models.CharField(max_length=20, choices=Connector)
    rated_power_w = models.FloatField("rated power, W", null=True, blank=True)
    position = models.PositiveSmallIntegerField(default=0)
    protocols = models.ManyToManyField(Protocol, blank=True, related_name="ports")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["adapter", "label"], name="port_label_once"),
            models.CheckConstraint(condition=~Q(label=""), name="port_has_label"),
            models.CheckConstraint(
                condition=Q(rated_power_w=None) | Q(rated_power_w__gt=0),
                name="port_rated_power_positive",
                violation_error_message="Rated power is greater than 0 W.",
            ),
        ]

    def __str__(self) -> str:
        return self.label

    def clean(self) -> None:
        """A label takes its place in combinations, which are written with plus signs."""
        if "+" in self.label:
            raise ValidationError(
                {"label": f"“{self.label}” holds a +, which joins ports in use together."}
            )


JOINT = "+"
"""What joins the labels of ports that are in use together."""


def whole_combination(text: str, *, labels: Iterable[str], port: str) -> str:
    """Ports in use together, such as ``C1 + c2``, as the catalogue writes them: ``C1+C2``.

    `labels` are those of the adapter, `port` is the one that the claim is about; the order
    stays as it is given. Raises `ValidationError` with a sentence for what names no
    combination of this adapter.
    """
    known = list(labels)
    by_case = {label.casefold(): label for label in known} | {label: label for label in known}
    used: list[str] = []
    for part in (piece.strip() for piece in text.split(JOINT)):
        if not part:
            raise ValidationError(f"Join the labels of ports by {JOINT}, such as C1{JOINT}C2.")
        label = by_case.get(part) or by_case.get(part.casefold())
        if label is None:
            raise ValidationError(f"No port is labelled “{part}”.")
        if label in used:
            raise ValidationError(f"“{label}” stands twice; name every port once.")
        used.append(label)
    if len(used) < 2:
        raise ValidationError("Name at least two ports that are in use together.")
    if port and port not in used:
        raise ValidationError(f"The claim is about “{port}”, so “{port}” is one of these ports.")
    return JOINT.join(used)


class LabelClaim(models.Model):
    """What is printed on an adapter or its box, as printed, and as numbers where it has some.

    With a `combination` the claim is the power that its port keeps while those ports are in
    use together.
    """

    adapter = models.ForeignKey(Adapter, on_delete=models.CASCADE, related_name="claims")
    port = models.ForeignKey(Port, on_delete=models.CASCADE, null=True, blank=True)
    text = models.CharField("as printed", max_length=200)
    voltage_v = models.FloatField("voltage, V", null=True, blank=True)
    current_a = models.FloatField("current, A", null=True, blank=True)
    combination = models.CharField("ports in use together", max_length=80, blank=True)
    power_w = models.FloatField("power then, W", null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=_all_or_none("voltage_v", "current_a"),
                name="claim_voltage_with_current",
                violation_error_message="Give the voltage with its current, or neither.",
            ),
            models.CheckConstraint(
                condition=Q(voltage_v=None) | (Q(voltage_v__gt=0) & Q(current_a__gt=0)),
                name="claim_numbers_positive",
                violation_error_message="Voltage and current are greater than 0.",
            ),
            models.CheckConstraint(
                condition=Q(combination="", power_w=None)
                | (~Q(combination="") & Q(power_w__isnull=False)),
                name="claim_combination_with_power",
                violation_error_message="Give the ports in use together with the power, "
                "or neither.",
            ),
            models.CheckConstraint(
                condition=Q(combination="") | Q(port__isnull=False),
                name="claim_combination_has_port",
                violation_error_message="Say which port keeps the power while these are in use.",
            ),
            models.CheckConstraint(
                condition=Q(power_w=None) | Q(power_w__gt=0),
                name="claim_power_positive",
                violation_error_message="Power is greater than 0 W.",
            ),
        ]

    def __str__(self) -> str:
        return self.text

    def clean(self) -> None:
        """Write the combination as the catalogue does; refuse ports that are not there."""
        if not self.combination or self.adapter_id is None:
            return
        try:
            self.combination = whole_combination(
                self.combination,
                labels=self.adapter.ports.values_list("label", flat=True),
                port=self.port.label if self.port else "",
            )
        except ValidationError as error:
            raise ValidationError({"combination": error.messages}) from error


class DeviceQuerySet(models.QuerySet["Device"]):
    """Filters over devices."""

    def listed(self) -> Self:
        """Those that a person wrote down or an accepted run names."""
        return self.filter(confirmed=True)


class Device(models.Model):
    """A reference device that adapters are tried with.

    A device that only uploads have named so far is not `confirmed`: a misspelling in a file
    that is never accepted shows up in no list and no plan.
    """

    name = models.CharField(max_length=100, unique=True)
    slug = models.SlugField(max_length=100, unique=True)
    kind = models.CharField("kind of device", max_length=60, blank=True)
    battery_wh = models.FloatField("battery, Wh", null=True, blank=True)
    max_power_w = models.FloatField("highest charging power, W", null=True, blank=True)
    voltage_min_v = models.FloatField(
        "takes that power from, V",
        null=True,
        blank=True,
        help_text="The range of voltage in which it takes its highest power; the same value "
        "twice where it is one voltage.",
    )
    voltage_max_v = models.FloatField("up to, V", null=True, blank=True)
    note = models.CharField(max_length=300, blank=True)
    confirmed = models.BooleanField(default=True)

    objects = DeviceQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=(Q(battery_wh=None) | Q(battery_wh__gt=0))
                & (Q(max_power_w=None) | Q(max_power_w__gt=0)),
                name="device_numbers_positive",
                violation_error_message="Battery and power are greater than 0.",
            ),
            models.CheckConstraint(
                condition=_all_or_none("voltage_min_v", "voltage_max_v"),
                name="device_voltage_range_whole",
                violation_error_message="Give both ends of the voltage range, or neither.",
            ),
            models.CheckConstraint(
                condition=Q(voltage_min_v=None)
                | (Q(voltage_min_v__gt=0) & Q(voltage_max_v__gte=F("voltage_min_v"))),
                name="device_voltage_range_ordered",
                violation_error_message="The voltage range runs from its lower to its higher end, "
                "above 0 V.",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def clean(self) -> None:
        """A run names its device whatever the capitals, so a name differs by more than those."""
        same = Device.objects.filter(name__iexact=self.name).exclude(pk=self.pk).first()
        if same is not None:
            raise ValidationError({"name": f"A device is called “{same.name}” already."})
