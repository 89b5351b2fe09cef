"""Fact sheets: the sentences that a presenter needs, each with its number, place and source.

Templates only: what a sentence says follows from stored values and stated rules, and two sheets
of the same values read alike. `order` knows the sections, `adapter_sheets` and `table_sheets`
put them together, `writing` gives them as text and as Markdown.
"""
