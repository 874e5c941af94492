//! The plan and cue-sheet files: field tables, reading with places, catalogue, schema, and the resolved line.
