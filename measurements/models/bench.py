"""What the bench has: instruments, raw files, and the two kinds of mains."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q
from django.utils import timezone

HIGH_LINE_V = (180.0, 264.0)
LOW_LINE_V = (90.0, 132.0)


def line_of(mains_v: float | None) -> str:
    """``high`` for 180–264 V, ``low`` for 90–132 V, ``""`` for anything else or nothing."""
    if mains_v is None:
        return ""
    if HIGH_LINE_V[0] <= mains_v <= HIGH_LINE_V[1]:
        return "high"
    if LOW_LINE_V[0] <= mains_v <= LOW_LINE_V[1]:
        return "low"
    return ""


class Instrument(models.Model):
    """A measuring instrument and the accuracy stated for one quantity of it."""

    class Quantity(models.TextChoices):
        """What an instrument measures; `fixed` is in the unit named here."""

        INPUT_POWER = "input_power", "input power (W)"
        OUTPUT_VOLTAGE = "output_voltage", "output voltage (V)"
        OUTPUT_CURRENT = "output_current", "output current (A)"
        TEMPERATURE = "temperature", "temperature (K)"
        RIPPLE = "ripple", "ripple (mV)"

    name = models.CharField(max_length=100, unique=True)
    quantity = models.CharField(max_length=20, choices=Quantity)
    reading_percent = models.FloatField("accuracy, % of reading")
    fixed = models.FloatField("accuracy, fixed part")
    calibrated_on = models.DateField("calibrated", null=True, blank=True)
    calibration_due = models.DateField("calibration due", null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(reading_percent__gte=0) & Q(fixed__gte=0),
                name="instrument_accuracy_not_negative",
                violation_error_message="Accuracy is stated as numbers that are not negative.",
            ),
            models.CheckConstraint(
                condition=Q(calibration_due=None) | Q(calibration_due__gte=F("calibrated_on")),
                name="instrument_due_after_calibration",
                violation_error_message="The calibration falls due after it was made.",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class RawFileQuerySet(models.QuerySet["RawFile"]):
    """Raw files, and how one is written down."""

    def write_down(self, sha256: str, *, size: int) -> RawFile:
        """The row of a file [byte] that the raw store has kept a moment ago.

        A file that was only known by its hash is held from now on.
        """
        raw, created = self.get_or_create(sha256=sha256, defaults={"size": size})
        if not (created or raw.held):
            raw.held = True
            raw.save(update_fields=["held"])
        return raw


class RawFile(models.Model):
    """A file as it came, kept for ever under its hash in the raw store.

    Of one that is not `held` the site knows the hash only: its run came with a package that left
    the raw files out.
    """

    sha256 = models.CharField(max_length=64, primary_key=True)
    size = models.BigIntegerField("size, bytes")
    stored_at = models.DateTimeField(default=timezone.now)
    held = models.BooleanField(default=True)

    objects = RawFileQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(size__gte=0), name="raw_size_not_negative")
        ]

    def __str__(self) -> str:
        return self.sha256
