"""Who gets where: every address of the site × method × person, as a table to be read.

A line of a group says what each of the `PEOPLE`, in their order, comes to:

    O  open: the call gets through (a harmless body may then be refused for what it says)
    S  has to sign in (a page leads there, the API answers 401)
    F  forbidden
    N  not found
    M  no such method here

What does not stand here is denied: an address without a line and a method that is open without
being named both fail the test. HEAD goes with GET. A token comes to what its role comes to.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

PEOPLE = ("anonymous", "reader", "reviewer", "editor", "superuser")
METHODS = ("GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS")
DENIED = frozenset("SFNM")

PUBLIC = "OOOOO"
ACCOUNT = "SOOOO"
BENCH = "SFOOO"
DESK = "SFFOO"
NOWHERE = "NNNNN"


@dataclass(frozen=True, slots=True)
class Group:
    """Addresses that let the same people in by the same methods."""

    methods: str
    access: str
    patterns: tuple[str, ...]

    def cells(self) -> Iterator[tuple[str, str, str]]:
        """Pattern, method and access of each of its addresses."""
        named = self.methods.split()
        for pattern in self.patterns:
            for method in (*named, *(("HEAD",) if "GET" in named else ())):
                yield pattern, method, self.access


def table(groups: Iterable[Group]) -> dict[str, dict[str, str]]:
    """The groups by pattern and method. Raises `ValueError` where two say the same twice."""
    found: dict[str, dict[str, str]] = {}
    for group in groups:
        for pattern, method, access in group.cells():
            row = found.setdefault(pattern, {})
            if method in row:
                raise ValueError(f"{method} {pattern} stands in the table twice.")
            row[method] = access
    return found


def _group(methods: str, access: str, patterns: str, *, prefix: str = "") -> Group:
    return Group(methods, access, tuple(prefix + word for word in patterns.split()))


PAGES = (
    Group("GET", PUBLIC, ("", "favicon.ico")),
    _group("GET POST", PUBLIC, "sign-in/"),
    _group("POST", PUBLIC, "sign-out/"),
    # Reading
    _group(
        "GET",
        PUBLIC,
        """
        adapters/ adapters/<slug:slug>/ devices/ instruments/ decode/
        runs/ runs/<uuid:run_id>/ runs/<uuid:run_id>/raw/ runs/accepted.atom
        runs/<uuid:run_id>/trace.svg runs/<uuid:run_id>/trace.png runs/<uuid:run_id>/trace.csv
        attachments/<uuid:attachment_id>/ tables/ tables/<uuid:table_id>/
        methods/ methods/glossary/ methods/<slug:kind>/ cautions/ search/
        adapters/<slug:slug>/beside/<slug:other>/
        rankings/ rankings/<slug:metric>/ rankings/<slug:metric>.csv
        rankings/<slug:metric>.parquet rankings/pair/ rankings/pair.csv
        charges/ charges/<slug:device>/ charges/<slug:device>/curves.svg
        charges/<slug:device>/curves.png
        charges/<slug:device>/curves.csv
        comparisons/ comparisons/<slug:slug>/ comparisons/<slug:slug>.csv
        comparisons/<slug:slug>.xlsx comparisons/<slug:slug>.md
        comparisons/<slug:slug>/charts/<int:position>.svg comparisons/<slug:slug>/embed/
        comparisons/<slug:slug>/table.svg comparisons/<slug:slug>/table.png
        adapters/<slug:slug>/facts/ adapters/<slug:slug>/facts.txt adapters/<slug:slug>/facts.md
        comparisons/<slug:slug>/facts/ comparisons/<slug:slug>/facts.txt
        comparisons/<slug:slug>/facts.md devices/<slug:slug>/ devices/<slug:slug>.csv
        """,
    ),
    # Only runs that were rejected have it, and those are never public.
    _group("GET", NOWHERE, "runs/<uuid:run_id>/problems.csv"),
    # One's own affairs; the token is the reader's.
    _group("GET POST", ACCOUNT, "account/tokens/"),
    _group("GET POST", "SONNO", "account/tokens/<int:pk>/revoke/"),
    # The bench
    _group(
        "GET",
        BENCH,
        """
        adapters/<slug:slug>/plan/ adapters/<slug:slug>/plan.xlsx runs/new/maps/
        runs/arrivals/<uuid:arrival_id>/problems.csv tables/<uuid:table_id>/raw/
        attachments/<uuid:attachment_id>/original/
        """,
    ),
    _group(
        "GET POST",
        BENCH,
        """
        adapters/new/ adapters/<slug:slug>/edit/ adapters/<slug:slug>/attachments/new/
        devices/new/ devices/<slug:slug>/edit/ instruments/new/
        runs/new/ runs/new/package/ runs/new/names/ runs/arrivals/
        runs/arrivals/<uuid:arrival_id>/ tables/new/ attachments/<uuid:attachment_id>/remove/
        """,
    ),
    _group("POST", BENCH, "runs/new/names/<int:pk>/retire/ runs/new/maps/<int:pk>/retire/"),
    # The editors' desk; the run is an editor's and accepted.
    _group("GET", DESK, "trail/ comparisons/<slug:slug>/preview/"),
    _group(
        "POST",
        DESK,
        """
        runs/<uuid:run_id>/accept/ runs/<uuid:run_id>/withdraw/
        tables/<uuid:table_id>/accept/ tables/<uuid:table_id>/withdraw/
        comparisons/<slug:slug>/publish/ comparisons/<slug:slug>/revise/
        """,
    ),
    _group(
        "GET POST",
        DESK,
        """
        runs/<uuid:run_id>/amend/ runs/<uuid:run_id>/attachments/new/
        comparisons/new/ comparisons/<slug:slug>/edit/
        """,
    ),
)

API_READ = """
    adapters/ adapters/<slug:slug>/ adapters/<slug:slug>/ports/ adapters/<slug:slug>/placements/
    adapters/<slug:slug>/attachments/ devices/ instruments/ runs/ runs/<uuid:run_id>/
    runs/<uuid:run_id>/raw/ runs/<uuid:run_id>/trace/ runs/<uuid:run_id>/attachments/
    tables/ tables/<uuid:table_id>/ metrics/ values/ rankings/<slug:metric>/
    comparisons/ comparisons/<slug:slug>/ limits/
    bulk/ bulk/values/ bulk/history/ bulk/placements/ bulk/traces/
"""
API_BENCH = """
    adapters/ adapters/<slug:slug>/attachments/ devices/ instruments/ runs/ tables/
"""
API_DESK = """
    runs/<uuid:run_id>/accept/ runs/<uuid:run_id>/withdraw/ runs/<uuid:run_id>/amend/
    runs/<uuid:run_id>/attachments/ tables/<uuid:table_id>/accept/
    tables/<uuid:table_id>/withdraw/ comparisons/ comparisons/<slug:slug>/publish/
    comparisons/<slug:slug>/revise/
"""
API = (
    Group("GET", PUBLIC, ("api/v1/", "api/v1/schema/", "api/v1/docs/")),
    _group("OPTIONS", "MMMMM", "api/v1/docs/"),  # a page, not a call
    _group("GET", PUBLIC, API_READ, prefix="api/v1/"),
    _group("POST", PUBLIC, "api/v1/decode/"),
    _group("POST", BENCH, API_BENCH, prefix="api/v1/"),
    _group("PATCH", BENCH, "api/v1/adapters/<slug:slug>/"),
    _group("POST", DESK, API_DESK, prefix="api/v1/"),
    _group("PATCH", DESK, "api/v1/comparisons/<slug:slug>/"),
    Group("GET POST PUT PATCH DELETE OPTIONS", NOWHERE, ("api/v1/(anything else)",)),
)
OPTIONS_OF_THE_API = PUBLIC
"""Every address of the API tells whoever asks which methods it has."""

RUN_READ = """
    runs/<uuid:run_id>/ runs/<uuid:run_id>/raw/ runs/<uuid:run_id>/trace.svg
    runs/<uuid:run_id>/trace.png
    runs/<uuid:run_id>/trace.csv api/v1/runs/<uuid:run_id>/ api/v1/runs/<uuid:run_id>/raw/
    api/v1/runs/<uuid:run_id>/trace/ api/v1/runs/<uuid:run_id>/attachments/
"""
RUN_JUDGED = """
    runs/<uuid:run_id>/accept/ runs/<uuid:run_id>/withdraw/
    api/v1/runs/<uuid:run_id>/accept/ api/v1/runs/<uuid:run_id>/withdraw/
"""
RUN_AMENDED = """
    runs/<uuid:run_id>/amend/ runs/<uuid:run_id>/attachments/new/
    api/v1/runs/<uuid:run_id>/amend/ api/v1/runs/<uuid:run_id>/attachments/
"""
RUN_FORMS = "runs/<uuid:run_id>/amend/ runs/<uuid:run_id>/attachments/new/"

# What readers do not know of: the same addresses with a thing that is not public. To them it is
# as if it did not exist, unless the whole address needs another role.
HIDDEN: dict[str, tuple[Group, ...]] = {
    "an adapter under embargo, and an editor's accepted run of it": (
        _group("GET", "NNOOO", RUN_READ),
        _group("GET", "SNFOO", RUN_FORMS),
        _group("POST", "SNFOO", RUN_JUDGED + RUN_AMENDED),
        _group(
            "GET",
            "NNOOO",
            """
            adapters/<slug:slug>/ attachments/<uuid:attachment_id>/ api/v1/adapters/<slug:slug>/
            adapters/<slug:slug>/beside/<slug:other>/
            adapters/<slug:slug>/facts/ adapters/<slug:slug>/facts.txt adapters/<slug:slug>/facts.md
            api/v1/adapters/<slug:slug>/ports/ api/v1/adapters/<slug:slug>/placements/
            api/v1/adapters/<slug:slug>/attachments/
            """,
        ),
        _group(
            "GET POST",
            "SNOOO",
            "adapters/<slug:slug>/attachments/new/ attachments/<uuid:attachment_id>/remove/",
        ),
        _group("POST", "SNOOO", "api/v1/adapters/<slug:slug>/attachments/"),
        _group("GET POST", BENCH, "adapters/<slug:slug>/edit/"),
        _group("PATCH", BENCH, "api/v1/adapters/<slug:slug>/"),
        _group(
            "GET",
            BENCH,
            """
            adapters/<slug:slug>/plan/ adapters/<slug:slug>/plan.xlsx
            attachments/<uuid:attachment_id>/original/
            """,
        ),
    ),
    "the reviewer's own provisional run": (
        _group("GET", "NNOOO", RUN_READ),
        _group("GET", "SNOOO", RUN_FORMS),
        _group("POST", "SNFOO", RUN_JUDGED),
        _group("POST", "SNOOO", RUN_AMENDED),
    ),
    "the reviewer's own rejected run": (
        _group("GET", "NNOOO", "runs/<uuid:run_id>/ runs/<uuid:run_id>/problems.csv"),
    ),
    "what an editor has not let out yet": (
        _group("GET", "NNOOO", RUN_READ),
        _group("GET", "SNFOO", RUN_FORMS),
        _group("POST", "SNFOO", RUN_JUDGED + RUN_AMENDED),
        _group("GET", "NNOOO", "tables/<uuid:table_id>/ api/v1/tables/<uuid:table_id>/"),
        _group("GET", BENCH, "tables/<uuid:table_id>/raw/"),
        _group(
            "POST",
            DESK,
            """
            tables/<uuid:table_id>/accept/ tables/<uuid:table_id>/withdraw/
            comparisons/<slug:slug>/publish/ comparisons/<slug:slug>/revise/
            api/v1/comparisons/<slug:slug>/publish/ api/v1/comparisons/<slug:slug>/revise/
            """,
        ),
        _group(
            "POST",
            "SNFOO",
            "api/v1/tables/<uuid:table_id>/accept/ api/v1/tables/<uuid:table_id>/withdraw/",
        ),
        _group(
            "GET",
            "NNNOO",
            """
            comparisons/<slug:slug>/ comparisons/<slug:slug>.csv api/v1/comparisons/<slug:slug>/
            comparisons/<slug:slug>.xlsx comparisons/<slug:slug>.md
            comparisons/<slug:slug>/charts/<int:position>.svg comparisons/<slug:slug>/facts/
            comparisons/<slug:slug>/facts.txt comparisons/<slug:slug>/facts.md
            """,
        ),
        # Only what is published is given away.
        _group(
            "GET",
            NOWHERE,
            """
            comparisons/<slug:slug>/embed/ comparisons/<slug:slug>/table.svg
            comparisons/<slug:slug>/table.png
            """,
        ),
        _group("GET POST", DESK, "comparisons/<slug:slug>/edit/"),
        _group("GET", DESK, "comparisons/<slug:slug>/preview/"),
        _group("PATCH", DESK, "api/v1/comparisons/<slug:slug>/"),
        _group("GET POST", "SFNOO", "runs/arrivals/<uuid:arrival_id>/"),
        _group("GET", "SFNOO", "runs/arrivals/<uuid:arrival_id>/problems.csv"),
    ),
}

# The admin pages ask everybody who is no member of staff to sign in, whatever the address.
# Of their own pages:
ADMIN_SITE = (
    Group("GET", "SSSOO", ("admin/", "admin/password_change/", "admin/password_change/done/")),
    Group("GET", "SSSOO", ("admin/jsi18n/", "admin/app_list")),
    Group("GET", "OOOOO", ("admin/login/",)),
    Group("POST", "OOOOO", ("admin/logout/",)),
    Group("GET", "SSSFF", ("admin/autocomplete/",)),  # no table here is looked up in
    Group(
        "GET", "SSSNN", ("admin/r/<path:content_type_id>/<path:object_id>/", "admin/(?P<url>.*)$")
    ),
)
# Of each table's pages: what editors may do there, beside nothing; and what not even superusers
# may, who may do everything else.
ADMIN_EDITORS: dict[str, str] = {
    "catalog/adapter": "add change",
    "catalog/device": "add change",
    "catalog/maker": "add change",
    "catalog/protocol": "add change delete",
    "catalog/unit": "add change",
    "measurements/instrument": "add change",
}
ADMIN_NOBODY: dict[str, str] = {
    "brickledger/apitoken": "add",
    "measurements/amendment": "add delete",
    "measurements/rawfile": "add delete",
    "measurements/run": "add delete",
    "measurements/runevent": "add delete",
    "measurements/value": "add delete",
}
