"""Forms of the catalogue: a list's filters, entries of adapters and devices, words to decode."""

from catalog.forms.adapters import AdapterEntry, FilterForm
from catalog.forms.decoding import DecodeForm
from catalog.forms.devices import DeviceForm

__all__ = ["AdapterEntry", "DecodeForm", "DeviceForm", "FilterForm"]
