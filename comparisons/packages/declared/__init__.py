"""The tables of a package, in the order in which they are written and read back."""

from __future__ import annotations

from dataclasses import replace

from comparisons.packages.declared.catalogue import CATALOGUE
from comparisons.packages.declared.published import COMPARED_ADAPTERS, COMPARISONS
from comparisons.packages.declared.raw_columns import RAW_COLUMNS
from comparisons.packages.declared.remarks import AMENDMENTS, FLAGS, VERDICTS
from comparisons.packages.declared.restored_runs import restore_files, restore_runs
from comparisons.packages.declared.results import ATTACHMENTS, RESULT_TABLES, VALUES
from comparisons.packages.declared.run_tables import (
    DETAILS,
    FILES,
    RECORDS,
    RUN_INSTRUMENTS,
    RUNS,
)
from comparisons.packages.declared.site_wide import SITE_WIDE
from comparisons.packages.tables import Table

TABLES: tuple[Table, ...] = (
    *SITE_WIDE,
    *CATALOGUE,
    replace(FILES, restore=restore_files),
    # Written down from four tables at once, whose rows belong together.
    replace(RUNS, restore=restore_runs),
    RUN_INSTRUMENTS,
    RECORDS,
    DETAILS,
    FLAGS,
    VERDICTS,
    AMENDMENTS,
    RESULT_TABLES,
    VALUES,
    ATTACHMENTS,
    COMPARISONS,
    COMPARED_ADAPTERS,
    RAW_COLUMNS,
)
