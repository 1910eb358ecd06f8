"""Tables of a GeoPackage beside its layers: field descriptions and metadata, each by its extension.

OGC 12-128r18, annexes F.9 Schema and F.8 Metadata: table definitions and the rows of `gpkg_extensions`.
"""

from __future__ import annotations

import sqlite3

from siteplanner.outputs.gis.columns import description_of, share_column

SPEC = "http://www.geopackage.org/spec120/"  # of the version that the file says it is
SHARE = "from_0_to_1"
ISO_19139 = "http://www.isotc211.org/2005/gmd"

_SCHEMA_TABLES = (
    "CREATE TABLE gpkg_data_columns (table_name TEXT NOT NULL, column_name TEXT NOT NULL, name TEXT, title TEXT, "
    "description TEXT, mime_type TEXT, constraint_name TEXT, "
    "CONSTRAINT pk_gdc PRIMARY KEY (table_name, column_name), "
    "CONSTRAINT fk_gdc_tn FOREIGN KEY (table_name) REFERENCES gpkg_contents(table_name), "
    "CONSTRAINT gdc_tn UNIQUE (table_name, name))",
    "CREATE TABLE gpkg_data_column_constraints (constraint_name TEXT NOT NULL, constraint_type TEXT NOT NULL, "
    "value TEXT, min NUMERIC, min_is_inclusive BOOLEAN, max NUMERIC, max_is_inclusive BOOLEAN, description TEXT, "
    "CONSTRAINT gdcc_ntv UNIQUE (constraint_name, constraint_type, value))",
)
_METADATA_TABLES = (
    "CREATE TABLE gpkg_metadata (id INTEGER CONSTRAINT m_pk PRIMARY KEY ASC NOT NULL, "
    "md_scope TEXT NOT NULL DEFAULT 'dataset', md_standard_uri TEXT NOT NULL, "
    "mime_type TEXT NOT NULL DEFAULT 'text/xml', metadata TEXT NOT NULL DEFAULT '')",
    "CREATE TABLE gpkg_metadata_reference (reference_scope TEXT NOT NULL, table_name TEXT, column_name TEXT, "
    "row_id_value INTEGER, timestamp DATETIME NOT NULL DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ','now')), "
    "md_file_id INTEGER NOT NULL, md_parent_id INTEGER, "
    "CONSTRAINT crmr_mfi_fk FOREIGN KEY (md_file_id) REFERENCES gpkg_metadata(id), "
    "CONSTRAINT crmr_mpi_fk FOREIGN KEY (md_parent_id) REFERENCES gpkg_metadata(id))",
)


def _extension(base: sqlite3.Connection, table: str, name: str, anchor: str) -> None:
    base.execute(
        "INSERT INTO gpkg_extensions (table_name, column_name, extension_name, definition, scope) "
        "VALUES (?, NULL, ?, ?, 'read-write')",
        (table, name, f"{SPEC}#{anchor}"),
    )


def add_descriptions(base: sqlite3.Connection, given: dict[str, dict[str, str]]) -> None:
    """Describe every column of every layer. `given`: layer -> column -> file that it was brought in."""
    for statement in _SCHEMA_TABLES:
        base.execute(statement)
    for table in ("gpkg_data_columns", "gpkg_data_column_constraints"):
        _extension(base, table, "gpkg_schema", "extension_schema")
    base.execute(
        "INSERT INTO gpkg_data_column_constraints (constraint_name, constraint_type, value, min, min_is_inclusive, "
        "max, max_is_inclusive, description) VALUES (?, 'range', NULL, 0, 1, 1, 1, 'A share or a probability')",
        (SHARE,),
    )
    tables = [row[0] for row in base.execute("SELECT table_name FROM gpkg_contents ORDER BY rowid")]
    for table in tables:
        for _, column, kind, *_ in base.execute(f'PRAGMA table_info("{table}")').fetchall():
            base.execute(
                "INSERT INTO gpkg_data_columns (table_name, column_name, description, constraint_name) "
                "VALUES (?, ?, ?, ?)",
                (
                    table,
                    column,
                    description_of(table, column, given.get(table, {})),
                    SHARE if kind == "REAL" and share_column(column) else None,
                ),
            )


def add_metadata(base: sqlite3.Connection, record: str, made: str) -> None:
    """The metadata record of the whole package."""
    for statement in _METADATA_TABLES:
        base.execute(statement)
    for table in ("gpkg_metadata", "gpkg_metadata_reference"):
        _extension(base, table, "gpkg_metadata", "extension_metadata")
    base.execute(
        "INSERT INTO gpkg_metadata (id, md_scope, md_standard_uri, mime_type, metadata) "
        "VALUES (1, 'dataset', ?, 'text/xml', ?)",
        (ISO_19139, record),
    )
    base.execute(
        "INSERT INTO gpkg_metadata_reference (reference_scope, timestamp, md_file_id) VALUES ('geopackage', ?, 1)",
        (made,),
    )
