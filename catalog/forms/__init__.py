"""Forms of the catalogue: the list's filters, entries of adapters and devices, words to decode."""

from catalog.forms.adapters import AdapterEntry, AdapterFilterForm, FilterForm
from catalog.forms.decoding import DecodeForm
from catalog.forms.devices import DeviceForm

__all__ = ["AdapterEntry", "AdapterFilterForm", "DecodeForm", "DeviceForm", "FilterForm"]
