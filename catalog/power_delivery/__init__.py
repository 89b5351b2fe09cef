"""USB Power Delivery as a source advertises it: data objects in and out of words, and an audit.

Pure: words, numbers and texts in, frozen dataclasses out. A finding is an indication from what
was read here of the rules, never a certification; `sources` says how much that was.
"""
