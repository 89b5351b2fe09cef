"""Forms of the catalogue: the list's filters, an adapter's entry, words to decode."""

from catalog.forms.adapters import AdapterEntry, AdapterFilterForm, FilterForm
from catalog.forms.decoding import DecodeForm

__all__ = ["AdapterEntry", "AdapterFilterForm", "DecodeForm", "FilterForm"]
