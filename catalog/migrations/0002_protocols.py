"""The vocabulary of protocols starts with what open standards define."""

from django.db import migrations

PROTOCOLS = [
    ("usb-type-c-current", "USB Type-C Current", "USB Type-C Specification, power from Rp"),
    ("usb-pd", "USB Power Delivery, fixed supplies", "USB Power Delivery Specification"),
    ("usb-pd-pps", "USB PD programmable power supply (PPS)", "USB Power Delivery Specification"),
    ("usb-pd-epr", "USB PD extended power range (EPR)", "USB Power Delivery Specification R3.1"),
    ("usb-pd-avs", "USB PD adjustable voltage supply (AVS)", "USB Power Delivery Specification R3.1"),
    ("bc-1-2-dcp", "Dedicated charging port", "USB Battery Charging Specification 1.2"),
    ("bc-1-2-cdp", "Charging downstream port", "USB Battery Charging Specification 1.2"),
    ("ufcs", "Universal fast charging (UFCS)", "T/TAF 083-2022"),
]


def seed(apps, schema_editor):
    protocol = apps.get_model("catalog", "Protocol")
    for slug, name, standard in PROTOCOLS:
        protocol.objects.get_or_create(slug=slug, defaults={"name": name, "standard": standard})


class Migration(migrations.Migration):
    dependencies = [("catalog", "0001_initial")]
    operations = [migrations.RunPython(seed, migrations.RunPython.noop)]
